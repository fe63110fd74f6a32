from django.urls import path

from fleet.registry.engineering import views as engineering

urlpatterns = [
    path("sizing/", engineering.sizing, name="sizing"),
    path("sizing/sheet.pdf", engineering.sizing_sheet, name="sizing_sheet"),
    path("sites/<str:code>/sun/", engineering.sun, name="sun"),
]
