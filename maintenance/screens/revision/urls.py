"""Address of a change of drawing."""

from django.urls import path

from . import views

urlpatterns = [path("<key:pk>/", views.Revision.as_view(), name="revision")]
