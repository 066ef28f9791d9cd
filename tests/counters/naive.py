"""The rules of `maintenance.counters.pure.chain` once more, written down plainly: no classes, no early ends, O(n^2)."""

from __future__ import annotations

HOURS_3 = 10_800


def most(a, b):
    return min(2000 * (b[0] - a[0]) / 60 + 100, 100_000_000)


def top_of(total, figures):
    power = 10
    while power <= total:
        power *= 10
    return max(power, 10**figures) if figures else power


def verdict(a, b, figures=None):
    """What lies between two readings (time, total): its name and its strokes."""
    up = b[1] - a[1]
    if up >= 0:
        return ("rise" if up <= most(a, b) else "jump"), up
    top = top_of(a[1], figures)
    across = top - a[1] + b[1]
    if across <= most(a, b) and (figures or top >= 10_000):
        if figures or (top - a[1]) * 50 <= top:
            return "roll", across
        if (top - a[1]) * 20 <= top:
            return "either", b[1]
    if b[1] * 10 <= a[1] and b[1] <= most(a, b):
        return "reset", b[1]
    return "fall", 0


def order(rows):
    """Each message once, by time; of one moment first those that go on, then those that began anew."""
    seen, todo = {}, []
    for at, total, name in rows:
        if name not in seen:
            seen[name] = True
            todo.append((at, total, name))
    result = []
    for at in sorted({row[0] for row in todo}):
        before = result[-1][1] if result else 0
        same = sorted((row[1], row[2]) for row in todo if row[0] == at)
        same = [r for r in same if r[0] >= before] + [r for r in same if r[0] < before]
        result += [(at + 0.001 * k, total, name) for k, (total, name) in enumerate(same)]
    return result


def steps(rows, figures=None):
    """-> [(from name, to name, strokes, doubt)], [names set aside]."""
    left, aside, done = order(rows), [], []
    if not left:
        return [], []
    path = [left.pop(0)]

    def say(a, b):
        return verdict(a, b, figures)[0]

    while left:
        x, y = path[-1], left[0]
        what, strokes = verdict(x, y, figures)
        nxt = left[1] if len(left) > 1 else None
        odd = False
        if what == "jump":
            odd = nxt is None or say(y, nxt) in ("jump", "either", "fall")
            odd = odd or (say(y, nxt) in ("roll", "reset") and say(x, nxt) == "rise")
        elif nxt is not None and say(x, nxt) == "rise":
            odd = what == "fall" or (what in ("reset", "roll", "either") and say(y, nxt) == "jump")
        if odd:
            aside.append(left.pop(0)[2])
            continue
        if what != "fall":
            done.append((x[2], y[2], strokes, {"jump": "jump", "either": "reset or roll-over"}.get(what, "")))
            path.append(left.pop(0))
            continue
        if len(path) > 1 and len(left) >= 3 and done[-1][3] == "":
            line = [path[-2], left[0], left[1], left[2]]
            if [say(line[k], line[k + 1]) for k in range(3)] == ["rise"] * 3:
                aside.append(path.pop()[2])
                done.pop()
                continue
        back = [k for k, z in enumerate(left) if k and z[0] - x[0] <= HOURS_3 and say(x, z) == "rise"]
        if back:
            aside += [row[2] for row in left[: back[0]]]
            left = left[back[0] :]
            continue
        total = sum(verdict(left[k], left[k + 1], figures)[1] for k in range(len(left) - 1))
        done.append((x[2], left[-1][2], total, "fall"))
        left = []
    return done, aside
