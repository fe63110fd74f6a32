"""Addresses of the room of expected output."""

from django.urls import path

from fleet.output import views
from fleet.output.api import answers, lists, weather

urlpatterns = [
    path("shortfalls/", views.shortfalls, name="shortfalls"),
    path("shortfalls/<int:pk>/", views.shortfall, name="shortfall"),
    path("installations/<int:pk>/working/", views.working, name="working"),
    path("installations/<int:pk>/spot/", views.add_spot, name="add_spot"),
    path("installations/<int:pk>/spot/<int:test>/", views.spot, name="spot"),
    path("weather/", views.weather, name="weather"),
    path("weather/<int:pk>/forget/", views.forget_weather, name="forget_weather"),
    path("alarms/", views.alarms, name="alarms"),
    path("troubles/", views.troubles, name="troubles"),
]

api_urlpatterns = [
    path("shortfalls/", lists.Shortfalls.as_view(), name="shortfalls"),
    path("shortfalls/<int:pk>/", lists.OneShortfall.as_view(), name="shortfall"),
    path("flags/", lists.Flags.as_view(), name="flags"),
    path("evaluations/", lists.Evaluations.as_view(), name="evaluations"),
    path("baselines/", lists.Baselines.as_view(), name="baselines"),
    path("baselines/<int:pk>/", lists.OneBaseline.as_view(), name="baseline"),
    path("installations/<int:pk>/days/", lists.Days.as_view(), name="days"),
    path("installations/<int:pk>/working/", answers.Working.as_view(), name="working"),
    path("installations/<int:pk>/expected-flow/", answers.Expected.as_view(), name="expected_flow"),
    path("installations/<int:pk>/spot-tests/", answers.AddSpotTest.as_view(), name="add_spot_test"),
    path("spot-tests/<int:pk>/answer/", answers.AnswerOfTest.as_view(), name="spot_answer"),
    path("alarms/", answers.Alarms.as_view(), name="alarms"),
    path("weather/", weather.Weather.as_view(), name="weather"),
    path("weather/<int:pk>/", weather.OneWeatherPlace.as_view(), name="weather_place"),
]
