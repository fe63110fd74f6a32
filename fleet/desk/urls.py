from django.urls import path

from fleet.desk import api, views

urlpatterns = [
    path("attention/", views.attention, name="attention"),
    path("attention/send/", views.send, name="send"),
    path("silent/", views.silent, name="silent"),
    path("units/<int:unit_id>/", views.unit, name="unit"),
    path("my-day/", views.my_day, name="my_day"),
    path("map/", views.fleet_map, name="map"),
    path("map/places.geojson", views.places, name="places"),
]
api_urlpatterns = [
    path("attention/", api.Attention.as_view(), name="attention"),
    path("attention/counts/", api.Counts.as_view(), name="counts"),
    path("silent/", api.Silent.as_view(), name="silent"),
    path("units/<int:pk>/life/", api.Life.as_view(), name="life"),
    path("my-day/", api.MyDay.as_view(), name="my_day"),
    path("places/", api.Places.as_view(), name="places"),
]
