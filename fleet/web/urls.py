from django.urls import path

from fleet.web import views

urlpatterns = [
    path("", views.first_page, name="first"),
    path("api/", views.api_door, name="api_door"),
    path("favicon.ico", views.favicon, name="favicon"),
    path("manifest.webmanifest", views.manifest, name="manifest"),
    path("robots.txt", views.robots, name="robots"),
]
