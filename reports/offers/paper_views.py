"""The offer comparison as a PDF to hand over."""

from __future__ import annotations

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from diestore.access import roles, shop
from diestore.access.queries import system_of

from . import paper, reads
from .reckon import reckon
from .views import whose_of


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def as_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """?rates=1: with the shop's rates and what each element costs; else these stay inside."""
    outline = reads.outline(pk, request.user)
    if outline is None:
        raise Http404(_("No such outline here."))
    told = reckon(outline, whose=whose_of(request))
    if told.weighed is None:
        return redirect("reports:outline", pk=outline.pk)  # which says why
    own = shop.current()
    made = paper.pdf(
        paper.Offer(
            told=told,
            shop=own.name,
            currency=own.currency,
            system=system_of(request.user),
            with_rates=request.GET.get("rates") == "1",
        )
    )
    response = HttpResponse(made, content_type="application/pdf")
    response["Content-Disposition"] = content_disposition_header(False, f"offer-{outline.part}.pdf")
    return response
