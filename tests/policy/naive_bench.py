"""The bench plan a second time, a quarter of an hour at a time, and by trying all there is. Slow and plain."""

from __future__ import annotations

import itertools

from maintenance.policy.bench import Bench, Plan, PlanWork

STEP = 0.25


def what_is_wrong(works: list[PlanWork], bench: Bench, plan: Plan) -> list[str]:
    """Every rule that a plan breaks, found without the planner's own ways of reckoning."""
    by_key = {work.key: work for work in works}
    wrong = [said for slot in plan.slots.values() for said in _of_one(by_key[slot.key], slot, bench)]
    if set(plan.slots) | set(plan.unplaced) != set(by_key) or set(plan.slots) & set(plan.unplaced):
        wrong.append("not every work is placed once or left over")
    return [*wrong, *_of_people(plan, bench), *_of_grinders(by_key, plan, bench), *_of_things(by_key, plan)]


def _of_one(work: PlanWork, slot, bench: Bench):
    if abs(sum(hours for _, hours in slot.by_day) - work.hours) > 1e-6:
        yield f"{slot.key} has other hours than it takes"
    if work.person is not None and slot.person != work.person:
        yield f"{slot.key} is done by somebody else"
    if slot.first < max(work.not_before if work.day is None else work.day, 0):
        yield f"{slot.key} begins too early"
    if (slot.first, slot.last) != (slot.by_day[0][0], slot.by_day[-1][0]) or slot.ready != slot.last + work.away:
        yield f"{slot.key} says other days than it has"
    days_on = {day for day, _ in slot.by_day}
    for day in range(slot.first, slot.last):
        if day not in days_on and bench.hours[slot.person][day] > 1e-9:
            yield f"{slot.key} is left for another on day {day}"


def _of_people(plan: Plan, bench: Bench):
    worked: dict[tuple, list[tuple[float, float]]] = {}
    for slot in plan.slots.values():
        for day, hours in slot.by_day:
            begin = slot.start if day == slot.first else 0.0
            worked.setdefault((slot.person, day), []).append((begin, begin + hours))
    for (person, day), spans in worked.items():
        spans.sort()
        if spans[-1][1] > bench.hours[person][day] + 1e-6:
            yield f"{person} works more than there are hours on day {day}"
        if any(after[0] < before[1] - 1e-6 for before, after in itertools.pairwise(spans)):
            yield f"{person} does two works at once on day {day}"


def _of_grinders(by_key, plan: Plan, bench: Bench):
    """What is set by hand may run over the grinders; what the planner puts beside it may not add to that."""
    planned, by_hand = [0.0] * bench.days, [0.0] * bench.days
    for slot in plan.slots.values():
        work = by_key[slot.key]
        for day, hours in slot.by_day:
            (planned if work.day is None else by_hand)[day] += hours * work.grinding / work.hours
    for day, hours in enumerate(bench.grinder_hours):
        if planned[day] > 1e-6 and planned[day] + by_hand[day] > hours + 1e-6:
            yield f"the grinders run more than there are hours on day {day}"


def _of_things(by_key, plan: Plan):
    for one, other in itertools.combinations(plan.slots.values(), 2):
        mine, theirs = by_key[one.key], by_key[other.key]
        by_hand = mine.day is not None and theirs.day is not None
        at_once = one.first <= other.last and other.first <= one.last
        if at_once and not by_hand and set(mine.shares) & set(theirs.shares):
            yield f"{one.key} and {other.key} use the same thing at once"


def cost(works: list[PlanWork], bench: Bench, plan: Plan) -> float:
    total = 0.0
    for work in works:
        slot = plan.slots.get(work.key)
        if slot is None:
            due = bench.days if work.due is None else work.due
            total += work.cost * (max(bench.days + work.away - due, 0) + (work.due is None))
        elif work.due is not None:
            total += work.cost * max(slot.ready - work.due, 0)
    return total


def _finish(orders: dict, bench: Bench) -> dict:
    """The day on which each work is finished, when each person does his works in an order, a quarter at a time."""
    done = {}
    for person, works in orders.items():
        todo = [[work, work.hours] for work in works]
        for day in range(bench.days):
            left = bench.hours[person][day]
            while left > 1e-9 and todo and todo[0][0].not_before <= day:
                here = min(STEP, left, todo[0][1])
                left -= here
                todo[0][1] -= here
                if todo[0][1] <= 1e-9:
                    done[todo.pop(0)[0].key] = day
    return done


def best_cost(works: list[PlanWork], bench: Bench) -> float:
    """The least cost of all orders and all ways to share the works out; for works without shares and grinders. Nobody
    waits for a work while he could do another one, so this is a bound only where nothing has to be waited for."""
    people, best = list(bench.hours), float("inf")
    for who in itertools.product(people, repeat=len(works)):
        if any(work.person not in (None, person) for work, person in zip(works, who, strict=True)):
            continue
        mine = {p: [w for w, person in zip(works, who, strict=True) if person == p] for p in people}
        for orders in itertools.product(*(itertools.permutations(mine[p]) for p in people)):
            done = _finish(dict(zip(people, orders, strict=True)), bench)
            total = 0.0
            for work in works:
                ready = done.get(work.key, bench.days) + work.away
                due = bench.days if work.due is None else work.due
                total += work.cost * max(ready - due, 0) + (
                    work.cost if work.key not in done and work.due is None else 0
                )
            best = min(best, total)
    return best
