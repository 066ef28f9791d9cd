"""Addresses of the counters' pages."""

from django.urls import path

from . import views

urlpatterns = [
    path("", views.Counters.as_view(), name="counters"),
    path("count/", views.CountNow.as_view(), name="counters_count"),
    path("in-press/", views.InPress.as_view(), name="in_press"),
    path("questions/<key:pk>/", views.Settle.as_view(), name="counter_question"),
    path("questions/<key:pk>/again/", views.TakeBack.as_view(), name="counter_question_again"),
    path("devices/", views.Devices.as_view(), name="counter_devices"),
    path("devices/how/", views.HowPrograms.as_view(), name="programs"),
    path("devices/wiring/", views.Wiring.as_view(), name="wiring"),
    path("devices/<key:pk>/revoke/", views.Revoke.as_view(), name="counter_device_revoke"),
]
