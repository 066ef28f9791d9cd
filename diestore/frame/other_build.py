"""What an edge may be built of otherwise, as choices of a form: asked on an edge's page and on a die's cost page."""

from __future__ import annotations

from diestore.handbook import tool_steels

AS_IT_IS = ("", "as it is")
STEELS = [AS_IT_IS, *((grade, "powder steel" if grade == "PM" else grade) for grade in tool_steels.GRADES)]
COATINGS = [AS_IT_IS, ("none", "none"), *((name, name) for name in tool_steels.COATINGS if name != "none")]
