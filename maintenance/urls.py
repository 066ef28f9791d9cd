"""Addresses of the log and the forecasts."""

app_name = "maintenance"
urlpatterns: list = []
