"""Addresses of the plant."""

from django.urls import URLPattern, path

from plant.availability import pages as availability
from plant.background.page import background, background_again, background_job
from plant.charges import claims_page as claims
from plant.charges import drying_times_page as drying_times
from plant.charges import planning_page as planning
from plant.charges import signs_page as climate_signs
from plant.charges import telling_page as charges
from plant.downtime import page as downtime
from plant.kilns import stop_page as stops
from plant.mill import page as mill
from plant.people import pages as people
from plant.people import shifts_page as shifts
from plant.people import sign_ins_page as sign_ins
from plant.readings import channels_page as channels
from plant.readings import source_tokens_page as source_tokens
from plant.readings import sources_page as sources
from plant.readings.files import pages as logger_files
from plant.warnings import page as kiln_warnings
from plant.words import pages as words
from plant.words import purposes_page as purposes

app_name = "plant"
urlpatterns: list[URLPattern] = [
    path("people/", people.people, name="people"),
    path("new-person/", people.add, name="person-add"),
    path("shifts/", shifts.shifts, name="shifts"),
    path("shifts/new/", shifts.add, name="shift-add"),
    path("shifts/days-off/", shifts.add_day_off, name="day-off-add"),
    path("shifts/days-off/<int:pk>/off/", shifts.drop_day_off, name="day-off-drop"),
    path("shifts/<slug:code>/", shifts.edit, name="shift-edit"),
    path("people/<slug:code>/", people.person, name="person"),
    path("people/<slug:code>/particulars/", people.edit, name="person-edit"),
    path("people/<slug:code>/skills/", people.add_skill, name="skill-add"),
    path("people/<slug:code>/skills/<int:pk>/off/", people.drop_skill, name="skill-drop"),
    path("people/<slug:code>/shifts/", people.add_duty, name="duty-add"),
    path("people/<slug:code>/shifts/<int:pk>/end/", people.end_duty, name="duty-end"),
    path("people/<slug:code>/absences/", people.add_absence, name="absence-add"),
    path("people/<slug:code>/absences/<int:pk>/off/", people.drop_absence, name="absence-drop"),
    path("people/<slug:code>/sign-in/", sign_ins.give, name="sign-in-give"),
    path("sign-ins/", sign_ins.sign_ins, name="sign-ins"),
    path("sign-ins/<int:pk>/", sign_ins.roles, name="sign-in-roles"),
    path("sign-ins/<int:pk>/first-password/", sign_ins.first_password, name="sign-in-password"),
    path("own-password/", sign_ins.own_password, name="own-password"),
    path("charges/", charges.charges, name="charges"),
    path("charges/plan/", planning.plan, name="charge-plan"),
    path("charges/<slug:tag>/<int:pk>/", planning.charge, name="charge"),
    path("charges/<slug:tag>/<int:pk>/change/", planning.change, name="charge-change"),
    path("charges/<slug:tag>/<int:pk>/take-out/", planning.take_out, name="charge-take-out"),
    path("charges/<slug:tag>/claims/<int:pk>/", claims.decide, name="charge-claim"),
    path("charges/<slug:tag>/signs/<int:pk>/", climate_signs.answer, name="climate-sign"),
    path("charges/<slug:tag>/<int:pk>/words/<int:word_pk>/", charges.correct, name="charge-word"),
    path("charges/<slug:tag>/<int:pk>/words/<int:word_pk>/back/", charges.take_back, name="charge-word-back"),
    path("charges/<slug:tag>/<int:pk>/<slug:what>/", charges.tell, name="charge-tell"),
    path("kilns/<slug:tag>/drying-times/", drying_times.of_kiln, name="drying-times"),
    path("kilns/<slug:tag>/downtime/", stops.report, name="downtime-report"),
    path("kilns/<slug:tag>/downtime/<int:pk>/", downtime.correct, name="downtime-correct"),
    path("kilns/<slug:tag>/downtime/<int:pk>/end/", downtime.end, name="downtime-end"),
    path("kilns/<slug:tag>/downtime/<int:pk>/back/", stops.take_back, name="downtime-back"),
    path("readings/", sources.sources, name="sources"),
    path("readings/new-source/", sources.add, name="source-add"),
    path("readings/channels/", channels.kilns, name="channels-of-kilns"),
    path("readings/sources/<slug:code>/", sources.source, name="source"),
    path("readings/sources/<slug:code>/particulars/", sources.edit, name="source-edit"),
    path("readings/sources/<slug:code>/tokens/", source_tokens.make, name="token-make"),
    path("readings/sources/<slug:code>/tokens/<int:pk>/revoke/", source_tokens.revoke, name="token-revoke"),
    path("readings/sources/<slug:code>/names/", sources.add_name, name="source-name-add"),
    path("readings/sources/<slug:code>/names/<int:pk>/off/", sources.drop_name, name="source-name-drop"),
    path("readings/sources/<slug:code>/files/", logger_files.send, name="logger-file-send"),
    path("readings/sources/<slug:code>/files/<slug:token>/", logger_files.confirm, name="logger-file"),
    path("readings/sources/<slug:code>/files/<slug:token>/off/", logger_files.drop, name="logger-file-drop"),
    path("readings/sources/<slug:code>/intakes/<int:pk>/", logger_files.intake, name="intake"),
    path("readings/sources/<slug:code>/intakes/<int:pk>/open/", logger_files.open_refused, name="intake-open"),
    path("kilns/<slug:tag>/channels/", channels.channels, name="channels"),
    path("kilns/<slug:tag>/channels/new/", channels.add, name="channel-add"),
    path("kilns/<slug:tag>/channels/copy/", channels.copy, name="channels-copy"),
    path("kilns/<slug:tag>/channels/<int:pk>/", channels.edit, name="channel-edit"),
    path("warnings/", kiln_warnings.warnings, name="kiln-warnings"),
    path("purposes/known/", purposes.known, name="purpose-known"),
    path("words/", words.words, name="words"),
    path("words/linked.json", words.linked, name="words-linked"),
    path("mill/", mill.mill, name="mill"),
    path("background/", background, name="background"),
    path("background/<int:pk>/", background_job, name="background-job"),
    path("background/<int:pk>/again/", background_again, name="background-again"),
    path("availability/", availability.availability, name="availability"),
    path("availability/report.pdf", availability.availability_pdf, name="availability-pdf"),
    path("availability/report.csv", availability.availability_csv, name="availability-csv"),
    path("availability/downtime.csv", availability.downtime_csv, name="availability-downtime-csv"),
]
