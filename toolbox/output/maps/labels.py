"""Put labels beside their marks so that none covers another: pure geometry on boxes.

Candidate places lie on growing rings round each mark. A place that would cover another label, a mark or the edge of the
map is out of the question; among the others, near ones, ones right of the mark, ones that cover little of the run and
ones whose leader crosses nothing are better. Labels choose in the order given, then choose again twice, knowing where
the others went. When the full text fits nowhere its shorter forms are tried. The same input gives the same places.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from ...arrays import Flags, Floats

_DIRECTIONS: Final = 24
_GROWTH: Final = 1.32
_SAMPLES: Final = 12  # points tested along a leader
_SOFT_COST: Final = 0.03
_CROSS_COST: Final = 0.6
_SHORTER_COST: Final = 0.8
_ROUNDS: Final = 3


@dataclass(frozen=True)
class Wish:
    """A label that wants a place."""

    # its mark
    x: float
    y: float
    # width and height of its text, and of shorter forms of it in falling order of liking
    sizes: tuple[tuple[float, float], ...]
    # least and greatest distance between mark and label
    near: float
    far: float
    # other points it may sit on, centred, tried before the rings; a leg's number sits on its leg
    spots: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Place:
    """Where a label went: which of its forms, its box (west, south, east, north) and whether it needs a leader."""

    form: int
    box: tuple[float, float, float, float]
    leader: bool


def _rings(wish: Wish, size: tuple[float, float]) -> tuple[Floats, Floats]:
    """Boxes on rings round the mark, and what each costs by its place alone."""
    steps = max(1, int(np.ceil(np.log(max(wish.far / wish.near, 1.0)) / np.log(_GROWTH))) + 1)
    distances = wish.near * _GROWTH ** np.arange(steps)
    angles = np.arange(_DIRECTIONS) * (2.0 * np.pi / _DIRECTIONS)
    away, angle = (grid.ravel() for grid in np.meshgrid(distances, angles, indexing="ij"))
    ux, uy = np.cos(angle), np.sin(angle)
    half_w, half_h = size[0] / 2.0, size[1] / 2.0
    x = wish.x + ux * away + np.clip(1.5 * ux, -1.0, 1.0) * half_w
    y = wish.y + uy * away + np.clip(1.5 * uy, -1.0, 1.0) * half_h
    boxes = np.column_stack([x - half_w, y - half_h, x + half_w, y + half_h])
    # right of the mark reads best, then left, then above and below
    return boxes, np.asarray(away + 0.04 * (1.0 - ux) + 0.03 * np.abs(uy), dtype=float)


def _on_spots(wish: Wish, size: tuple[float, float]) -> tuple[Floats, Floats]:
    at = np.asarray(wish.spots, dtype=float).reshape(-1, 2)
    half = np.array(size) / 2.0
    return np.hstack([at - half, at + half]), np.linspace(0.0, 0.01 * len(at), len(at))


def overlaps(boxes: Floats, others: Floats) -> Flags:
    """Which boxes share inside with which others: (boxes, others)."""
    return (
        (boxes[:, None, 0] < others[None, :, 2])
        & (others[None, :, 0] < boxes[:, None, 2])
        & (boxes[:, None, 1] < others[None, :, 3])
        & (others[None, :, 1] < boxes[:, None, 3])
    )


def _inside(points: Floats, boxes: Floats) -> Flags:
    """Which points lie in which boxes: (points, boxes)."""
    return (
        (points[:, None, 0] > boxes[None, :, 0])
        & (points[:, None, 0] < boxes[None, :, 2])
        & (points[:, None, 1] > boxes[None, :, 1])
        & (points[:, None, 1] < boxes[None, :, 3])
    )


def leader_end(x: float, y: float, box: Sequence[float]) -> tuple[float, float]:
    """Point of a box nearest to its mark, where the leader ends."""
    return float(np.clip(x, box[0], box[2])), float(np.clip(y, box[1], box[3]))


def _crossings(wish: Wish, boxes: Floats, others: Floats) -> Floats:
    """How many other labels the leader to each box would cross."""
    if not len(others):
        return np.zeros(len(boxes))
    mark = np.array([wish.x, wish.y])
    ends = np.column_stack(
        [np.clip(wish.x, boxes[:, 0], boxes[:, 2]), np.clip(wish.y, boxes[:, 1], boxes[:, 3])]
    )
    along = np.linspace(0.0, 1.0, _SAMPLES)
    points = (mark + (ends - mark)[:, None, :] * along[None, :, None]).reshape(-1, 2)
    crossed = _inside(points, others).reshape(len(boxes), _SAMPLES, len(others)).any(axis=1)
    return np.asarray(crossed.sum(axis=1), dtype=float)


def _leaders(wishes: Sequence[Wish], places: Sequence[Place | None], skip: int) -> Floats:
    """Points along the leaders of all labels but one."""
    along = np.linspace(0.0, 1.0, _SAMPLES)[:, None]
    found = [
        np.array([wish.x, wish.y]) * (1.0 - along) + np.array(leader_end(wish.x, wish.y, place.box)) * along
        for order, (wish, place) in enumerate(zip(wishes, places, strict=True))
        if place is not None and place.leader and order != skip
    ]
    return np.vstack(found) if found else np.empty((0, 2))


def _best(
    wish: Wish, *, frame: Floats, hard: Floats, labels: Floats, soft: Floats, leaders: Floats
) -> Place | None:
    best: tuple[float, Place] | None = None
    for form, size in enumerate(wish.sizes):
        ring_boxes, ring_costs = _rings(wish, size)
        spot_boxes, spot_costs = _on_spots(wish, size)
        boxes, costs = np.vstack([spot_boxes, ring_boxes]), np.concatenate([spot_costs, ring_costs])
        on_spot = np.arange(len(boxes)) < len(spot_boxes)
        costs[~on_spot] += 1.0 if len(spot_boxes) else 0.0
        fits = (boxes[:, :2] >= frame[:2]).all(axis=1) & (boxes[:, 2:] <= frame[2:]).all(axis=1)
        fits &= ~overlaps(boxes, np.vstack([hard, labels])).any(axis=1)
        if not fits.any():
            continue
        boxes, costs, on_spot = boxes[fits], costs[fits], on_spot[fits]
        costs = costs + form * _SHORTER_COST
        costs = costs + _SOFT_COST * _inside(soft, boxes).sum(axis=0) * ~on_spot
        costs = costs + _CROSS_COST * _crossings(wish, boxes, labels) * ~on_spot
        costs = costs + _CROSS_COST * (_inside(leaders, boxes).sum(axis=0) > 0)
        choice = int(np.argmin(costs))
        box = tuple(float(side) for side in boxes[choice])
        assert len(box) == 4
        end = leader_end(wish.x, wish.y, box)
        apart = float(np.hypot(end[0] - wish.x, end[1] - wish.y))
        place = Place(form, box, leader=bool(not on_spot[choice] and apart > 1.5 * wish.near))
        if best is None or costs[choice] < best[0]:
            best = (float(costs[choice]), place)
    return None if best is None else best[1]


def place_labels(
    wishes: Sequence[Wish], *, frame: Sequence[float], hard: Floats | None = None, soft: Floats | None = None
) -> list[Place | None]:
    """Find a place for each label.

    Parameters
    ----------
    wishes
        The labels, the most important first; all lengths in one unit (the costs are made for inches).
    frame
        West, south, east and north limit.
    hard
        Boxes no label may touch, (k, 4).
    soft
        Points better left uncovered, (m, 2).

    Returns
    -------
    A place for each wish in its order; None where no form of it fits anywhere within its reach.
    """
    fixed = np.empty((0, 4)) if hard is None or not len(hard) else np.asarray(hard, dtype=float)
    points = np.empty((0, 2)) if soft is None or not len(soft) else np.asarray(soft, dtype=float)
    limits = np.asarray(frame, dtype=float)
    places: list[Place | None] = [None] * len(wishes)
    for _ in range(_ROUNDS):
        for order, wish in enumerate(wishes):
            others = [place.box for rank, place in enumerate(places) if place is not None and rank != order]
            labels = np.array(others, dtype=float).reshape(-1, 4)
            leaders = _leaders(wishes, places, order)
            found = _best(wish, frame=limits, hard=fixed, labels=labels, soft=points, leaders=leaders)
            places[order] = found if found is not None else places[order]
    return places
