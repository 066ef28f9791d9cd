"""PURE (numpy). Which spares will be used until they could arrive, what is short, and since when to order.

laws      laws of an interval in die strokes: `WeibullLaw`, `StoredLaw` (from a stored forecast), `first_of`, `mixed`
worlds    `die_worlds`: a forecast split into what is the same for all intervals to come and what is not
renewals  `RenewalCounts`: chances of 0, 1, 2 ... sharpenings (or replacements) in so many strokes
demand    `Demand`: chances of 0, 1, 2 ... pieces; `GrindGroup` (pieces ground together), `BreakRate`, `item_demand`
ahead     `hits_ahead`: strokes of a die until a day, from the open orders and its usual pace
reorder   `advise`: half / 9 in 10, what is short, order by, how many; `reorder_point`, `critical_ratio`
lots      economic lot and price breaks (Decimal)
"""
