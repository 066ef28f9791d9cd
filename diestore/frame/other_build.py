"""What an edge may be built of otherwise, as choices of a form: asked on an edge's page and on a die's cost page."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from diestore.handbook import tool_steels

AS_IT_IS = ("", _("as it is"))
STEELS = [AS_IT_IS, *((grade, _("powder steel") if grade == "PM" else grade) for grade in tool_steels.GRADES)]
COATINGS = [AS_IT_IS, ("none", _("none")), *((name, name) for name in tool_steels.COATINGS if name != "none")]
