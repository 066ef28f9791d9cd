"""Address of what moves by hand."""

from django.urls import path

from . import views

urlpatterns = [path("", views.Movement.as_view(), name="movement")]
