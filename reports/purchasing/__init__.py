"""PURE (numpy). Which spares will be used until they could arrive, what is short, and since when to order.

laws      laws of an interval in die strokes: `WeibullLaw`, `StoredLaw` (from a stored forecast), `first_of`, `mixed`
worlds    `die_worlds`: a forecast split into what is the same for all intervals to come and what is not
renewals  `RenewalCounts`: chances of 0, 1, 2 ... sharpenings (or replacements) in so many strokes
demand    `Demand`: chances of 0, 1, 2 ... pieces; `GrindGroup` (pieces ground together), `BreakRate`, `item_demand`
removal   `Removal`: what a grind takes off, learnt and drawn; how long an allowance lasts
ahead     `hits_ahead`: strokes of a die until a day, from open orders, its usual pace or what is stated of its years
breaks    mishaps: limits from a small count, whether they come more often, how many pieces each takes
wear      pieces that wear out: the law of their kind, and how many are replaced, each by its age
lead      `LeadTime`: how long an order takes, the promise moved by what was seen; the use until it comes
projected `projected`: pieces on the shelf day by day with their band, orders on the way with their uncertain day
spend     `buys_ahead`, `total`: what is paid month by month, by the law of a sum
reorder   `advise`: half / 9 in 10, what is short, order by, how many; `reorder_point`, `critical_ratio`
worth     `Economics`: one piece missing against one too many, the level that follows; lot and point together
ladder    `ladder`: what each further piece buys, with the recommended rung
lots      economic lot and price breaks, of all units or of those above (Decimal)
record    `replay`: the past again under a rule of ordering, pieces short and money on the shelf; `Bounds`
cause     `cause_of`: the movement that made a spare due
shelf     `shelf_curve`: money tied up against press stops a year, over a whole shop
"""
