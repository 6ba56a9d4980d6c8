"""Addresses of the storeroom."""

from django.urls import URLPattern, path

from inventory.views import booking, new_things, orders, parts, storeroom

app_name = "inventory"
urlpatterns: list[URLPattern] = [
    path("storeroom/", storeroom.storeroom, name="storeroom"),
    path("storeroom/new-part/", new_things.new_part, name="part-new"),
    path("storeroom/new-bin/", new_things.new_bin, name="bin-new"),
    path("storeroom/new-supplier/", new_things.new_supplier, name="supplier-new"),
    path("storeroom/as-csv/", storeroom.storeroom_csv, name="storeroom-csv"),
    path("storeroom/part-suggestions/", storeroom.part_suggestions, name="part-suggestions"),
    path("storeroom/receive/", booking.receive, name="receive"),
    path("storeroom/issue/", booking.issue, name="issue"),
    path("storeroom/return/", booking.give_back, name="return"),
    path("storeroom/count/", booking.count, name="count"),
    path("storeroom/scrap/", booking.scrap, name="scrap"),
    path("storeroom/transfer/", booking.transfer, name="transfer"),
    path("storeroom/parts/<slug:code>/", parts.part, name="part"),
    path("storeroom/parts/<slug:code>/ledger-as-csv/", parts.ledger_csv, name="ledger-csv"),
    path("storeroom/parts/<slug:code>/change/", parts.edit, name="part-edit"),
    path("storeroom/parts/<slug:code>/order/", parts.order_part, name="part-order"),
    path("storeroom/parts/<slug:code>/terms/", parts.terms, name="terms-new"),
    path("storeroom/parts/<slug:code>/terms/<slug:supplier>/", parts.terms, name="terms"),
    path("storeroom/draw-up-orders/", orders.draw_up, name="draw-up"),
    path("storeroom/orders/", orders.orders, name="orders"),
    path("storeroom/orders/<slug:number>/", orders.order, name="order"),
    path("storeroom/orders/<slug:number>/as-pdf/", orders.order_paper, name="order-pdf"),
    path("storeroom/orders/<slug:number>/quantities/", orders.change_quantities, name="order-quantities"),
    path("storeroom/orders/<slug:number>/send/", orders.send, name="order-send"),
    path("storeroom/orders/<slug:number>/promise/", orders.promise, name="order-promise"),
    path("storeroom/orders/<slug:number>/withdraw/", orders.withdraw, name="order-withdraw"),
]
