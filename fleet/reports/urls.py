from django.urls import path

from fleet.reports import api, views

urlpatterns = [
    path("", views.report, name="report"),
    path("report.pdf", views.pdf, name="pdf"),
    path("figures.xlsx", views.workbook, name="workbook"),
]
api_urlpatterns = [
    path("figures/months/", api.Months.as_view(), name="months"),
    path("figures/groups/<str:group>/", api.Groups.as_view(), name="groups"),
    path("figures/inspections/", api.Inspections.as_view(), name="inspections"),
    path("figures/restoration/", api.Restoration.as_view(), name="restoration"),
    path("figures/summary/", api.Summary.as_view(), name="summary"),
]
