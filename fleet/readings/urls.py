"""Addresses of the readings' room."""

from django.urls import path

from fleet.readings import views
from fleet.readings.api import bring, lists

urlpatterns = [
    path("installations/<int:pk>/", views.of_installation, name="of"),
    path("installations/<int:pk>/meter/", views.add_meter, name="add_meter"),
    path("installations/<int:pk>/drop-days/", views.drop_days, name="drop_days"),
    path("dropped-days/<int:pk>/put-back/", views.put_back, name="put_back"),
    path("slips/", views.slips, name="slips"),
    path("slips/<int:pk>/settle/", views.settle, name="settle"),
    path("decisions/<int:pk>/take-back/", views.take_back, name="take_back"),
]

api_urlpatterns = [
    path("readings/", bring.Bring.as_view(), name="bring"),
    path("spot-tests/", lists.SpotTests.as_view(), name="spot_tests"),
    path("spot-tests/<int:pk>/", lists.OneSpotTest.as_view(), name="spot_test"),
    path("meter-readings/", lists.MeterReadings.as_view(), name="meter_readings"),
    path("meter-readings/<int:pk>/", lists.OneMeterReading.as_view(), name="meter_reading"),
    path("installations/<int:pk>/meter-readings/", lists.AddMeterReading.as_view(), name="add_meter_reading"),
    path("installations/<int:pk>/missing-periods/", lists.MissingPeriods.as_view(), name="missing_periods"),
    path("installations/<int:pk>/dropped-days/", lists.DaysDropped.as_view(), name="dropped_days"),
    path("dropped-days/<int:pk>/put-back/", lists.PutBack.as_view(), name="put_back"),
    path("day-records/", lists.DayRecords.as_view(), name="day_records"),
    path("noon-records/", lists.NoonRecords.as_view(), name="noon_records"),
    path("series/", lists.Series.as_view(), name="series"),
    path("slips/", lists.Slips.as_view(), name="slips"),
    path("slips/<int:pk>/", lists.OneSlip.as_view(), name="slip"),
    path("slips/<int:pk>/settle/", lists.Settle.as_view(), name="settle"),
    path("slips/<int:pk>/take-back/", lists.TakeBack.as_view(), name="take_back"),
]
