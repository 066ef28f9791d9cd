"""Addresses of the site: each app names its own."""

from django.contrib import admin
from django.urls import include, path

from diestore.access.views import AdministrationSignIn

handler400 = "diestore.access.views.bad_request"
handler404 = "diestore.access.views.not_found"
urlpatterns = [
    path("admin/login/", AdministrationSignIn.as_view(), name="administration_sign_in"),
    path("admin/", admin.site.urls),
    path("api/v1/", include("reports.api")),
    path("", include("reports.urls")),
    path("", include("maintenance.urls")),
    path("", include("diestore.addresses")),
]

handler500 = "diestore.service.views.broke"
