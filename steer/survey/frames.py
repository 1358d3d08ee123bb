"""First coordinates where point by point does not suffice: rigid frames and equal choices.

A traverse between two control points that see no other control, or two unknown stations that see each
other and the same two control points, can be built in a frame of its own and laid onto the control by two
common points. Where a point has two places (two lengths, nothing to tell the sides apart) both are followed.
"""

from __future__ import annotations

from collections.abc import Iterator

from steer.survey.placing import Placement, grow
from steer.survey.sights import Sights

_MOST_SEEDS = 40
_MOST_STARTS = 16
_MOST_CHOICES = 6  # more points with two places each are not resolved by trying
_OWN_SCALE_M = 1000.0  # length given to the first side of a frame that has no measured length


def starts(sights: Sights, control: dict[str, complex]) -> tuple[list[Placement], Placement]:
    """All complete placements found (several when the sights allow several), and the fullest one found."""
    complete: list[Placement] = []
    fullest = Placement(dict(control))
    stack = [(Placement(dict(control)), 0)]  # with how many choices it already rests on
    tried = 0
    while stack and tried < _MOST_STARTS:
        tried += 1
        placement, chosen = stack.pop()
        grow(sights, placement)
        while len(placement.position) < len(sights.at):
            options = _frames_onto(sights, placement)
            if not options and placement.undecided:
                point, places = next(iter(placement.undecided.items()))
                options = [{point: place} for place in places]
            if not options or (len(options) > 1 and chosen >= _MOST_CHOICES):
                break
            for other in options[1:]:
                branch = placement.copy()
                branch.position.update(other)
                stack.append((branch, chosen + 1))
            chosen += len(options) > 1
            placement.undecided.clear()
            placement.position.update(options[0])
            grow(sights, placement)
        if len(placement.position) >= len(fullest.position):
            fullest = placement
        if len(placement.position) == len(sights.at):
            complete.append(placement)
    return complete, fullest


def _frames_onto(sights: Sights, placed: Placement) -> list[dict[str, complex]]:
    """New positions from the frame that adds most: none, one, or two when it may lie either way round."""
    missing = {p for p in sights.at if p not in placed.position}
    region = missing.union(*(sights.neighbours(p) for p in missing))
    best: list[dict[str, complex]] = []
    most = 0
    for first, second in _seeds(sights, missing):
        laid = []
        for frame in _frame(sights, first, second, region):
            fit = _laid_onto(frame, placed.position)
            if fit is not None:
                laid.append((fit[0], {p: z for p, z in fit[1].items() if p in missing}))
        if not laid:
            continue
        laid.sort(key=lambda option: option[0])
        if len(laid[0][1]) > most:
            most = len(laid[0][1])
            clear = len(laid) == 1 or laid[1][0] > 5.0 * laid[0][0] + 1.0
            best = [positions for _, positions in (laid[:1] if clear else laid)]
            if most == len(missing):
                break
    return best


def _seeds(sights: Sights, missing: set[str]) -> Iterator[tuple[str, str]]:
    count = 0
    for point in sorted(missing, key=lambda p: (-len(sights.neighbours(p)), p)):
        near = sights.length_m[point] or sights.neighbours(point)
        for other in sorted(near, key=lambda q: (q not in missing, q))[:3]:
            yield point, other
            count += 1
            if count >= _MOST_SEEDS:
                return


def _frame(sights: Sights, first: str, second: str, region: set[str]) -> list[Placement]:
    """The frame grown from one side; two mirror images when lengths alone cannot tell them apart."""
    length = sights.length_m[first].get(second)
    frame = Placement({first: 0j, second: complex(length or _OWN_SCALE_M)}, with_lengths=length is not None)
    grow(sights, frame, region)
    if len(frame.position) > 2 or not frame.undecided:
        return [frame]
    point, places = next(iter(frame.undecided.items()))
    images = []
    for place in places:
        image = frame.copy()
        image.position[point] = place
        grow(sights, image, region)
        images.append(image)
    return images


def _laid_onto(frame: Placement, known: dict[str, complex]) -> tuple[float, dict[str, complex]] | None:
    """Turns and shifts (and scales, if the frame has its own scale) onto the points known in both by least
    squares; (largest misfit in m, all positions of the frame), or None with fewer than two common points."""
    common = [p for p in frame.position if p in known]
    if len(common) < 2:
        return None
    centre_from = sum(frame.position[p] for p in common) / len(common)
    centre_to = sum(known[p] for p in common) / len(common)
    spread = sum(abs(frame.position[p] - centre_from) ** 2 for p in common)
    turn = sum((frame.position[p] - centre_from).conjugate() * (known[p] - centre_to) for p in common)
    if spread < 1e-6 or abs(turn) < 1e-9:
        return None
    turn = turn / abs(turn) if frame.with_lengths else turn / spread
    laid = {p: centre_to + turn * (z - centre_from) for p, z in frame.position.items()}
    return max(abs(laid[p] - known[p]) for p in common), laid
