"""The slow, obvious ten-second rule: one look at each second, no cleverness."""


def per_second(intervals: list[tuple[float, float, int]], n_seconds: int) -> tuple[list[float], list[int]]:
    """Bad time in each second and the causes that touch it."""
    bad = [0.0] * n_seconds
    causes = [0] * n_seconds
    for start, end, flags in intervals:
        for second in range(n_seconds):
            overlap = min(end, second + 1) - max(start, second)
            if overlap > 0:
                bad[second] += overlap
                causes[second] |= flags
    return bad, causes


def classify_seconds(severe: list[bool]) -> list[bool]:
    """Whether each second is unavailable, by looking ten seconds ahead from each one."""
    unavailable = []
    down = False
    for second in range(len(severe)):
        ahead = severe[second : second + 10]
        if len(ahead) == 10 and all(ahead):
            down = True
        if len(ahead) == 10 and not any(ahead):
            down = False
        unavailable.append(down)
    return unavailable


def runs(flags: list[bool]) -> list[tuple[int, int]]:
    """Runs [start, end) of true flags."""
    found = []
    start = None
    for place, flag in enumerate([*flags, False]):
        if flag and start is None:
            start = place
        if not flag and start is not None:
            found.append((start, place))
            start = None
    return found
