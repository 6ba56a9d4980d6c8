"""Addresses of the stores."""

from django.urls import URLPattern, path

from inventory.views import booking, new_things, orders, parts, storeroom

app_name = "inventory"
urlpatterns: list[URLPattern] = [
    path("stores/", storeroom.storeroom, name="storeroom"),
    path("stores/new-part/", new_things.new_part, name="part-new"),
    path("stores/new-bin/", new_things.new_bin, name="bin-new"),
    path("stores/new-supplier/", new_things.new_supplier, name="supplier-new"),
    path("stores/as-csv/", storeroom.storeroom_csv, name="storeroom-csv"),
    path("stores/part-suggestions/", storeroom.part_suggestions, name="part-suggestions"),
    path("stores/receive/", booking.receive, name="receive"),
    path("stores/issue/", booking.issue, name="issue"),
    path("stores/return/", booking.give_back, name="return"),
    path("stores/count/", booking.count, name="count"),
    path("stores/scrap/", booking.scrap, name="scrap"),
    path("stores/transfer/", booking.transfer, name="transfer"),
    path("stores/parts/<slug:code>/", parts.part, name="part"),
    path("stores/parts/<slug:code>/ledger-as-csv/", parts.ledger_csv, name="ledger-csv"),
    path("stores/parts/<slug:code>/change/", parts.edit, name="part-edit"),
    path("stores/parts/<slug:code>/moves/<int:pk>/take-back/", booking.take_back, name="take-back"),
    path("stores/parts/<slug:code>/order/", parts.order_part, name="part-order"),
    path("stores/parts/<slug:code>/terms/", parts.terms, name="terms-new"),
    path("stores/parts/<slug:code>/terms/<slug:supplier>/", parts.terms, name="terms"),
    path("stores/draw-up-orders/", orders.draw_up, name="draw-up"),
    path("stores/orders/", orders.orders, name="orders"),
    path("stores/orders/<slug:number>/", orders.order, name="order"),
    path("stores/orders/<slug:number>/as-pdf/", orders.order_paper, name="order-pdf"),
    path("stores/orders/<slug:number>/quantities/", orders.change_quantities, name="order-quantities"),
    path("stores/orders/<slug:number>/send/", orders.send, name="order-send"),
    path("stores/orders/<slug:number>/promise/", orders.promise, name="order-promise"),
    path("stores/orders/<slug:number>/withdraw/", orders.withdraw, name="order-withdraw"),
]
