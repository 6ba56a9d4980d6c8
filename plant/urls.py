"""Addresses of the plant."""

from django.urls import URLPattern, path

from plant.views import availability, downtime, drying_times, mill, people, sign_ins, words
from plant.views.background import background, background_again, background_job

app_name = "plant"
urlpatterns: list[URLPattern] = [
    path("people/", people.people, name="people"),
    path("new-person/", people.add, name="person-add"),
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
    path("kilns/<slug:tag>/drying-times/", drying_times.of_kiln, name="drying-times"),
    path("kilns/<slug:tag>/downtime/", downtime.report, name="downtime-report"),
    path("kilns/<slug:tag>/downtime/<int:pk>/", downtime.correct, name="downtime-correct"),
    path("kilns/<slug:tag>/downtime/<int:pk>/end/", downtime.end, name="downtime-end"),
    path("words/", words.words, name="words"),
    path("mill/", mill.mill, name="mill"),
    path("background/", background, name="background"),
    path("background/<int:pk>/", background_job, name="background-job"),
    path("background/<int:pk>/again/", background_again, name="background-again"),
    path("availability/", availability.availability, name="availability"),
    path("availability/report.pdf", availability.availability_pdf, name="availability-pdf"),
    path("availability/report.csv", availability.availability_csv, name="availability-csv"),
    path("availability/downtime.csv", availability.downtime_csv, name="availability-downtime-csv"),
]
