from django.urls import path

from fleet.desk import views

urlpatterns = [
    path("attention/", views.attention, name="attention"),
    path("attention/send/", views.send, name="send"),
    path("units/<int:unit_id>/", views.unit, name="unit"),
    path("my-day/", views.my_day, name="my_day"),
    path("map/", views.fleet_map, name="map"),
    path("map/places.geojson", views.places, name="places"),
]
