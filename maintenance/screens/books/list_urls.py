"""Addresses of the buyer's lists: under the spares, whose pages they come from."""

from django.urls import path

from . import lists

urlpatterns = [
    path("brought/<key:pk>/", lists.OneList.as_view(), name="list"),
    path("<slug:sort>/", lists.NewList.as_view(), name="list_new"),
    path("<slug:sort>/list.xlsx", lists.GivenOut.as_view(), name="list_out"),
    path("<slug:sort>/list.csv", lists.GivenOut.as_view(ending="csv"), name="list_out_csv"),
]
