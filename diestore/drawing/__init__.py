"""How things are drawn: scales with their ticks, paths, letters, and plots for reports and paper.

Drawings on pages are SVG that a template writes; the geometry comes from the page's room, which takes scales, ticks
and paths from here. Plots with computed curves come from `plots`, the only place that loads matplotlib, and only when
one is drawn. Both carry the classes of `look.css`, so that one style sheet says what a line, a band or a letter looks
like, in light, dark and on paper. The plan of a die is laid out here, since several pages and its bench sheet draw it:
to scale (`strip_cuts` in mm, `scale_plan` as drawn), or along its strip where nobody said where each place is
(`strip_plan`). `paper` writes PDF. Everything but `plots` and `paper` is pure: no Django, no plotting.
"""
