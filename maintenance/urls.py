"""Addresses of upkeep."""

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import URLPattern, path

from maintenance.views import (
    checks,
    defects,
    entry,
    kilns,
    my_work,
    openings,
    papers,
    pricing,
    proof_tests,
    rounds,
    standing_tasks,
    work_order,
    work_orders,
)


def soon(request: HttpRequest, **kwargs: str) -> HttpResponse:
    """Stand in for a page that is being built."""
    raise Http404


app_name = "maintenance"
urlpatterns: list[URLPattern] = [
    path("kilns/", kilns.kilns, name="kilns"),
    path("kilns/<slug:tag>/", kilns.kiln, name="kiln"),
    path("kilns/<slug:tag>/particulars/", kilns.edit, name="kiln-edit"),
    path("rounds/", rounds.rounds, name="rounds"),
    path("rounds/checks/", rounds.start, name="check-start"),
    path("rounds/checks/<slug:number>/", checks.check, name="check"),
    path("rounds/checks/<slug:number>/sheet.pdf", papers.check_pdf, name="check-pdf"),
    path("rounds/checks/<slug:number>/sit/", checks.sit, name="check-sit"),
    path("rounds/checks/<slug:number>/sittings/<int:pk>/end/", checks.end_sitting, name="check-end-sitting"),
    path("rounds/checks/<slug:number>/points/<int:pk>/", checks.item, name="check-item"),
    path("rounds/checks/<slug:number>/complete/", checks.complete, name="check-complete"),
    path("rounds/checks/<slug:number>/withdraw/", checks.withdraw, name="check-withdraw"),
    path("rounds/defects/", defects.defects, name="defects"),
    path("rounds/defects/<int:pk>/work-order/", defects.make_work_order, name="defect-work-order"),
    path("rounds/defects/<int:pk>/cost/", pricing.found, name="defect-cost"),
    path("rounds/defects/<int:pk>/cost/work-out/", pricing.work_out, name="defect-price"),
    path("rounds/defects/<int:pk>/strike/", defects.strike, name="defect-strike"),
    path("rounds/permits/<int:pk>/close/", entry.close, name="permit-close"),
    path("rounds/proof-tests/", proof_tests.proof_tests, name="proof-tests"),
    path("rounds/proof-tests.csv", proof_tests.proof_tests_csv, name="proof-tests-csv"),
    path("rounds/standing-tasks/", standing_tasks.standing_tasks, name="standing-tasks"),
    path("rounds/standing-tasks/new/", standing_tasks.new, name="standing-task-new"),
    path("rounds/standing-tasks/<slug:code>/", standing_tasks.standing_task, name="standing-task"),
    path("rounds/standing-tasks/<slug:code>/edit/", standing_tasks.edit, name="standing-task-edit"),
    path("rounds/standing-tasks/<slug:code>/withdraw/", standing_tasks.withdraw, name="standing-task-withdraw"),
    path("rounds/standing-tasks/<slug:code>/resume/", standing_tasks.resume, name="standing-task-resume"),
    path("openings/", openings.openings, name="openings"),
    path("openings/run-the-day/", openings.run_the_day, name="run-the-day"),
    path("openings/work-orders/<slug:number>/", openings.place_work, name="place-work"),
    path("openings/work-orders/<slug:number>/put-here/", openings.put_here, name="put-here"),
    path("openings/work-orders/<slug:number>/keep/", openings.change_place, {"act": "keep"}, name="keep-place"),
    path("openings/work-orders/<slug:number>/let-move/", openings.change_place, {"act": "let-move"}, name="let-move"),
    path("openings/work-orders/<slug:number>/take-out/", openings.take_out, name="take-out"),
    path("openings/work-orders/<slug:number>/put-back/", openings.change_place, {"act": "put-back"}, name="put-back"),
    path("openings/<slug:tag>/<slug:key>/", openings.opening, name="opening"),
    path("work-orders/", work_orders.work_orders, name="work-orders"),
    path("work-orders/new/", work_orders.ask_for_work, name="work-order-ask"),
    path("work-orders/<slug:number>/", work_order.work_order, name="work-order"),
    path("work-orders/<slug:number>/sheet.pdf", papers.work_order_pdf, name="work-order-pdf"),
    path("work-orders/<slug:number>/start/", work_order.start, name="work-order-start"),
    path("work-orders/<slug:number>/permit/", work_order.permit, name="work-order-permit"),
    path("work-orders/<slug:number>/steps/<int:no>/", work_order.record_step, name="work-order-step"),
    path("work-orders/<slug:number>/time/", work_order.record_labour, name="work-order-time"),
    path("work-orders/<slug:number>/parts/", work_order.use_part, name="work-order-part"),
    path("work-orders/<slug:number>/stop/", work_order.record_stop, name="work-order-stop"),
    path("work-orders/<slug:number>/stop-ended/", work_order.end_stop, name="work-order-stop-ended"),
    path("work-orders/<slug:number>/finish/", work_order.finish, name="work-order-finish"),
    path("work-orders/<slug:number>/sign-off/", work_order.sign_off, name="work-order-sign-off"),
    path("work-orders/<slug:number>/send-back/", work_order.send_back, name="work-order-send-back"),
    path("work-orders/<slug:number>/withdraw/", work_order.withdraw, name="work-order-withdraw"),
    path("my-work/", my_work.my_work, name="my-work"),
]
