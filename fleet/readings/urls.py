"""Addresses of the readings' room."""

from django.urls import path

from fleet.readings import views

urlpatterns = [
    path("installations/<int:pk>/", views.of_installation, name="of"),
    path("installations/<int:pk>/meter/", views.add_meter, name="add_meter"),
    path("slips/", views.slips, name="slips"),
    path("slips/<int:pk>/settle/", views.settle, name="settle"),
]
