"""What a person sets for himself: units, plant, name."""

from __future__ import annotations

from django.contrib import messages
from django.urls import reverse_lazy
from django.views.generic import UpdateView

from .forms import SettingsForm
from .models import UserSettings


class MySettings(UpdateView):
    http_method_names = ("get", "head", "options", "post")
    form_class = SettingsForm
    template_name = "diestore/access/own_settings.html"
    success_url = reverse_lazy("diestore:settings")

    def get_object(self, queryset=None):
        return UserSettings.objects.get_or_create(user=self.request.user)[0]

    def get_initial(self):
        return {"look": self.request.session.get("look", "")}

    def form_valid(self, form):
        self.request.session["look"] = form.cleaned_data["look"]
        messages.success(self.request, "Kept.")
        return super().form_valid(form)
