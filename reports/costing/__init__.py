"""PURE (Decimal, numpy). What a die costs per thousand parts, and whether another build would cost less.

Money goes in and comes out as Decimal; floats live inside only where a distribution enters (`spread`).

money       the border: `amount`, `quantity`, `from_float`, `rounded`; `DatedRate`, `rate_on`
elements    `CostElement` (an amount and the parts it is spread over), `CostSheet`
day_prices  `price_then`: what a spare cost on the day on which it was fitted; `lots_of`: first in, first out
own_log     `cost_of_log`: what the die's own log has cost so far
ledger      `Ledger`: entries by month, element, planned or not, payer; cash beside accrual; what is still held
spread      `Spread`: a discrete distribution of money; sums, compounds, mixtures, bands
next_year   `expected_year`: what the year ahead will cost, with a band, from counts of sharpenings, spares and stops
years_ahead `years_ahead`: money month by month for years ahead, what is expected and how far single lives lie apart
break_even  `break_even`: the volume at which a dearer tool with cheaper parts has paid for itself
discounting present value, payment, annual equivalent, economic life, rate of return
changes     `compared`: lives before and after a change at the same places; `verdict`: whether a promise was kept
replacing   `keep_or_build`: what each further year of a die costs against what a new one costs a year
regrind     `times_ground_together`: every edge ground at each sharpening, where some are left for the next time
builds      `compare_builds`: two ways of building a die, cost per thousand against volume, with the crossing
payback     `payback`: when the extra money for a dearer way comes back, what it is worth today, what it earns
outlined    `running`: what a tool that is only outlined costs a part, for many sets of assumptions and worlds at once
ways        `weigh`: two to five ways of building a tool over the years of its parts
series      `series`: parts on one tool whose inserts are exchanged, against a tool for each
material    `strip_material`: what the material of a part costs; the least that a scrapped part is worth
part_cost   `part_cost`: what a part costs all in, by the parts an hour, the lot, its material and the tool;
            `scrapped_part`: what one is worth that goes into the scrap
"""
