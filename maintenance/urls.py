"""Addresses of upkeep."""

from collections.abc import Iterator

from django.urls import URLPattern, path

from maintenance.board import openings_pages as openings
from maintenance.board import pages as board
from maintenance.chamber_tests import pages as chamber_tests
from maintenance.checks import defects_page as defects
from maintenance.checks import findings_page as findings
from maintenance.checks import pages as checks
from maintenance.checks import proof_tests_page as proof_tests
from maintenance.checks import rounds_page as rounds
from maintenance.day import papers_pages as papers
from maintenance.demo import pages as demo
from maintenance.door import alarms_page as alarms
from maintenance.door import pages as entry
from maintenance.entry import letting_in_page as letting_in
from maintenance.kilns import climate_page as climate
from maintenance.kilns import components_page as components
from maintenance.kilns import pages as kilns
from maintenance.kilns import stop_page as stops
from maintenance.loading import pages as files
from maintenance.plans import pages as plans
from maintenance.plans import reasons_page as plan_reasons
from maintenance.pricing import pages as pricing
from maintenance.recurring import pages as standing_tasks
from maintenance.setting_up import pages as setting_up
from maintenance.sheets import pages as sheets
from maintenance.sheets import writing_pages as sheets_written
from maintenance.telling import calendar_page as calendar
from maintenance.telling import pages as my_work
from maintenance.watches import new_page as new_watch
from maintenance.watches import numbers_page as watch_numbers
from maintenance.watches import pages as watches
from maintenance.work import changing_dates_page as changing_dates
from maintenance.work import list_page as work_orders
from maintenance.work import page as work_order
from maintenance.work import particulars_page as particulars_of_work
from maintenance.work import start_page as work_order_start


def _sheets_and_points() -> Iterator[URLPattern]:
    """Task sheets and check points have the same pages."""
    for of in ("task-sheet", "check-point"):
        one, told = f"rounds/{of}s/<slug:code>/", {"of": of}
        yield path(f"rounds/{of}s/", sheets.rows, told, name=f"{of}s")
        yield path(f"rounds/{of}s/new/", sheets_written.new, told, name=f"{of}-new")
        yield path(one, sheets.row, told, name=of)
        yield path(f"{one}edit/", sheets_written.edit, told, name=f"{of}-edit")
        yield path(f"{one}copy/", sheets_written.copy, told, name=f"{of}-copy")
        yield path(f"{one}withdraw/", sheets.withdraw, told, name=f"{of}-withdraw")
        yield path(f"{one}back/", sheets.bring_back, told, name=f"{of}-back")
        yield path(f"{one}noted/", sheets.take_note, told, name=f"{of}-noted")
        yield path(f"{one}versions/<int:no>/", sheets.version, told, name=f"{of}-version")


app_name = "maintenance"
urlpatterns: list[URLPattern] = [
    path("first-hour/", setting_up.first_hour, name="first-hour"),
    path("first-hour/mill/", setting_up.begin, name="mill-begin"),
    path("new-kiln/", setting_up.new_kiln, name="kiln-new"),
    path("kilns/", kilns.kilns, name="kilns"),
    path("kilns/<slug:tag>/", kilns.kiln, name="kiln"),
    path("kilns/<slug:tag>/stops/<int:pk>/", stops.stop, name="kiln-stop"),
    path("kilns/<slug:tag>/particulars/", kilns.edit, name="kiln-edit"),
    path("kilns/<slug:tag>/new-component/", components.add, name="component-add"),
    path("kilns/<slug:tag>/components/<slug:component>/", components.component, name="component"),
    path("kilns/<slug:tag>/components/<slug:component>/particulars/", components.edit, name="component-edit"),
    path("kilns/<slug:tag>/components/<slug:component>/exchange/", components.exchange, name="exchange"),
    path(
        "kilns/<slug:tag>/components/<slug:component>/exchange/<int:pk>/back/",
        components.take_exchange_back,
        name="exchange-back",
    ),
    path("kilns/<slug:tag>/components/<slug:component>/retire/", components.retire, name="component-retire"),
    path("kilns/<slug:tag>/components/<slug:component>/back/", components.bring_back, name="component-back"),
    path("kilns/<slug:tag>/climate/", climate.climate, name="kiln-climate"),
    path("kilns/<slug:tag>/climate.csv", climate.climate_csv, name="kiln-climate-csv"),
    path("kilns/<slug:tag>/chamber-tests/", chamber_tests.chamber_tests, name="chamber-tests"),
    path("kilns/<slug:tag>/chamber-tests/evaluate/", chamber_tests.evaluate, name="chamber-test-evaluate"),
    path("rounds/", rounds.rounds, name="rounds"),
    path("rounds/checks/", rounds.start, name="check-start"),
    path("rounds/checks/<slug:number>/", checks.check, name="check"),
    path("rounds/checks/<slug:number>/sheet.pdf", papers.check_pdf, name="check-pdf"),
    path("rounds/checks/<slug:number>/sit/", checks.sit, name="check-sit"),
    path("rounds/checks/<slug:number>/sittings/<int:pk>/end/", checks.end_sitting, name="check-end-sitting"),
    path("rounds/checks/<slug:number>/as-work/", checks.ask_sittings, name="check-as-work"),
    path("rounds/checks/<slug:number>/points/<int:pk>/", checks.item, name="check-item"),
    path("rounds/checks/<slug:number>/findings/<int:pk>/take-back/", findings.take_back, name="finding-take-back"),
    path("rounds/checks/<slug:number>/points/<int:pk>/decide/", findings.decide, name="finding-decide"),
    path("rounds/checks/<slug:number>/complete/", checks.complete, name="check-complete"),
    path("rounds/checks/<slug:number>/withdraw/", checks.withdraw, name="check-withdraw"),
    path("rounds/defects/", defects.defects, name="defects"),
    path("rounds/defects/<int:pk>/work-order/", defects.make_work_order, name="defect-work-order"),
    path("rounds/defects/<int:pk>/cost/", pricing.found, name="defect-cost"),
    path("rounds/defects/<int:pk>/cost/work-out/", pricing.work_out, name="defect-price"),
    path("rounds/defects/<int:pk>/strike/", defects.strike, name="defect-strike"),
    path("rounds/permits/<int:pk>/", entry.permit, name="permit"),
    path("rounds/permits/<int:pk>/in/", entry.go_in, name="permit-in"),
    path("rounds/permits/<int:pk>/out/", entry.come_out, name="permit-out"),
    path("rounds/permits/<int:pk>/lock/", entry.take_lock_off, name="permit-lock"),
    path("rounds/permits/<int:pk>/outside/", entry.relieve, name="permit-outside"),
    path("rounds/permits/<int:pk>/measured/", entry.measure, name="permit-measured"),
    path("rounds/permits/<int:pk>/back/<int:move>/", entry.take_back, name="permit-back"),
    path("rounds/permits/<int:pk>/close/", entry.close, name="permit-close"),
    path("rounds/permits/<int:pk>/close/incomplete/", entry.force, name="permit-force"),
    path("rounds/findings/<int:pk>/let-in/", letting_in.let_in, name="let-in"),
    path("rounds/let-ins/<int:pk>/take-back/", letting_in.take_back, name="let-in-back"),
    path("alarms/<int:pk>/", alarms.alarm, name="alarm"),
    path("rounds/proof-tests/", proof_tests.proof_tests, name="proof-tests"),
    path("rounds/proof-tests/<int:pk>/", proof_tests.proof_tests_of, name="proof-tests-of"),
    path("rounds/proof-tests.csv", proof_tests.proof_tests_csv, name="proof-tests-csv"),
    path("rounds/recurring-tasks/", standing_tasks.standing_tasks, name="standing-tasks"),
    path("rounds/recurring-tasks/new/", standing_tasks.new, name="standing-task-new"),
    path("rounds/recurring-tasks/<slug:code>/", standing_tasks.standing_task, name="standing-task"),
    path("rounds/recurring-tasks/<slug:code>/edit/", standing_tasks.edit, name="standing-task-edit"),
    path("rounds/recurring-tasks/<slug:code>/withdraw/", standing_tasks.withdraw, name="standing-task-withdraw"),
    path("rounds/recurring-tasks/<slug:code>/resume/", standing_tasks.resume, name="standing-task-resume"),
    path(
        "rounds/task-sheets/<slug:code>/versions/<int:no>/",
        sheets.version,
        {"of": "task-sheet"},
        name="task-sheet-version",
    ),
    path(
        "rounds/check-points/<slug:code>/withdraw/", sheets.withdraw, {"of": "check-point"}, name="check-point-withdraw"
    ),
    path(
        "rounds/check-points/<slug:code>/versions/<int:no>/",
        sheets.version,
        {"of": "check-point"},
        name="check-point-version",
    ),
    path("rounds/recurring-tasks/<slug:code>/dates/<slug:on>/", changing_dates.change, name="date-change"),
    path("rounds/recurring-tasks/<slug:code>/dates/<int:pk>/back/", changing_dates.take_back, name="date-change-back"),
    *_sheets_and_points(),
    path("watches/", watches.watches, name="watches"),
    path("watches/new/", new_watch.new, name="watch-new"),
    path("watches/set-up/", watches.set_up, name="watches-set-up"),
    path("watches/firings/<int:pk>/judge/", watches.judge_firing, name="firing-judge"),
    path("watches/<int:pk>/", watches.watch, name="watch"),
    path("watches/<int:pk>/on/", watches.switch, {"is_on": True}, name="watch-on"),
    path("watches/<int:pk>/off/", watches.switch, {"is_on": False}, name="watch-off"),
    path("watches/<int:pk>/edit/", watch_numbers.edit, name="watch-edit"),
    path("watches/<int:pk>/copy/", watch_numbers.copy, name="watch-copy"),
    path("watches/<int:pk>/trial/", watch_numbers.trial, name="watch-trial"),
    path("openings/", board.openings, name="openings"),
    path("openings/verdict/", board.verdict, name="verdict"),
    path("openings/compare/", board.compare_plans, name="compare-plans"),
    path("openings/day-sheet.pdf", papers.day_sheet_pdf, name="day-sheet"),
    path("openings/run-the-day/", openings.run_the_day, name="run-the-day"),
    path("openings/work-orders/<slug:number>/", openings.place_work, name="place-work"),
    path("openings/work-orders/<slug:number>/put-on-board/", board.put_on_board, name="put-on-board"),
    path("openings/work-orders/<slug:number>/put-here/", openings.put_here, name="put-here"),
    path("openings/work-orders/<slug:number>/keep/", openings.change_place, {"act": "keep"}, name="keep-place"),
    path("openings/work-orders/<slug:number>/let-move/", openings.change_place, {"act": "let-move"}, name="let-move"),
    path("openings/work-orders/<slug:number>/take-out/", openings.take_out, name="take-out"),
    path(
        "openings/work-orders/<slug:number>/take-back/",
        openings.change_place,
        {"act": "take-back"},
        name="take-place-back",
    ),
    path("openings/work-orders/<slug:number>/put-back/", openings.change_place, {"act": "put-back"}, name="put-back"),
    path("openings/plans/", plans.plans, name="plans"),
    path("openings/plans/new/", plans.new, name="plan-new"),
    path("openings/plans/<int:pk>/", plans.plan, name="plan"),
    path("openings/plans/<int:pk>/progress/", plans.progress, name="plan-progress"),
    path("openings/plans/<int:pk>/stop/", plans.stop, name="plan-stop"),
    path("openings/plans/<int:pk>/accept/", plans.accept, name="plan-accept"),
    path("openings/plans/<int:pk>/take-back/", plans.take_back, name="plan-take-back"),
    path("openings/plans/<int:pk>/set-aside/", plans.put_aside, name="plan-set-aside"),
    path("openings/plans/<int:pk>/doubt/", plan_reasons.doubt, name="plan-doubt"),
    path("openings/plans/<int:pk>/jobs/<slug:number>/", plan_reasons.why, name="plan-why"),
    path("openings/doubt/", plan_reasons.doubt_on_record, name="doubt"),
    path("openings/jobs/<slug:number>/why/", plan_reasons.why_on_record, name="job-why"),
    path("openings/<slug:tag>/<slug:key>/", openings.opening, name="opening"),
    path("work-orders/", work_orders.work_orders, name="work-orders"),
    path("work-orders/new/", work_orders.ask_for_work, name="work-order-ask"),
    path("work-orders/<slug:number>/", work_order.work_order, name="work-order"),
    path("work-orders/<slug:number>/sheet.pdf", papers.work_order_pdf, name="work-order-pdf"),
    path("work-orders/<slug:number>/particulars/", particulars_of_work.edit, name="work-order-edit"),
    path("work-orders/<slug:number>/newer-sheet/", particulars_of_work.take_newer_sheet, name="work-order-sheet"),
    path("work-orders/<slug:number>/start/", work_order_start.start, name="work-order-start"),
    path("work-orders/<slug:number>/pause/", entry.pause, name="work-order-pause"),
    path("work-orders/<slug:number>/permit/", work_order_start.permit, name="work-order-permit"),
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
    path("my-work/week/", my_work.my_week, name="my-week"),
    path("my-work/calendar/", calendar.my_calendar, name="my-calendar"),
    path("my-work/calendar/revoke/", calendar.revoke, name="calendar-revoke"),
    path("calendar/<slug:token>.ics", calendar.feed, name="calendar-feed"),
    path("files/", files.files, name="files"),
    path("files/templates.zip", files.all_templates, name="files-templates"),
    path("files/templates/<slug:table>.csv", files.one_template, name="files-template"),
    path("files/out/<slug:form>.zip", files.out, name="files-out"),
    path("files/brought/<uuid:key>/", files.seen, name="files-brought"),
    path("files/brought/<uuid:key>/progress/", files.progress, name="files-progress"),
    path("files/brought/<uuid:key>/take-in/", files.take_in, name="files-take-in"),
    path("files/brought/<uuid:key>/decide/", files.decide, name="files-decide"),
    path("files/brought/<uuid:key>/put-aside/", files.put_aside, name="files-put-aside"),
    path("demo/filling/", demo.filling, name="demo-filling"),
]
