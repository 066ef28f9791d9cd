"""Addresses of photos."""

from django.urls import path

from . import views

urlpatterns = [
    path("new/<slug:sort>/<key:pk>/", views.AddPhoto.as_view(), name="photo_new"),
    path("<slug:key>/", views.photo, name="photo"),
    path("<slug:key>/small/", views.photo_small, name="photo_small"),
    path("<slug:key>/strike/", views.StrikePhoto.as_view(), name="photo_strike"),
]
