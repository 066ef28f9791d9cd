"""The page of the words."""

from __future__ import annotations

from django.views.generic import TemplateView

from diestore.handbook.kinds import KINDS


class Words(TemplateView):
    template_name = "diestore/frame/words.html"

    def get_context_data(self, **kwargs):
        from diestore.handbook import cautions, words

        return super().get_context_data(
            letters=words.by_letter(),
            kinds=list(KINDS.values()),
            cautions=list(cautions.CAUTIONS.values()),
            first=cautions.FIRST,
            **kwargs,
        )
