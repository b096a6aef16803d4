"""The plane of a traverse to scale, with the velocity at every point, and the profiles across it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flowrig.records.items import Array, Layout
from flowrig.records.words import rounded
from flowrig.report.figures import style
from flowrig.report.figures.picture import Picture
from flowrig.report.figures.places import percent, round_limits, with_unit
from flowrig.report.figures.rows import table_along
from flowrig.report.lines import quantity_line
from flowrig.studies.behind import Plane
from flowrig.studies.result import FlowResult, Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NUMBERED = 72  # points: beyond, shade and size alone
MOST_LINES = 6
MAP = 190.0  # points, about what the longer side of the plane takes up
LIGHT, DARK = 0.15, 0.95  # of the shades from white to blue


def plane_picture(result: Result, flow: FlowResult, plane: Plane, name: str, title: str) -> Picture:
    """Map and profiles of a traverse.

    Parameters
    ----------
    result : Result
    flow : FlowResult
    plane : Plane
        From `flowrig.studies.behind`.
    name, title : str
    """
    q, layout = plane.velocity, plane.layout
    values = np.asarray(q.value, dtype=float)
    fast, slow = int(np.argmax(values)), int(np.argmin(values))
    alt = (
        f"Velocities at {len(layout)} points of {flow.name}: least {_three(values[slow])} {q.unit} at "
        f"{layout.place(slow)}, greatest {_three(values[fast])} {q.unit} at {layout.place(fast)}. Mean velocity of the "
        f"plane {quantity_line(plane.mean)}; the points scatter over the plane by {100 * plane.unevenness:.0f} % of "
        "their mean."
    )
    first = {key: [str(p[k]) for p in layout.points] for k, key in enumerate(layout.keys)}
    for side, at in layout.positions.items():
        first[f"{_side(side)} [mm]"] = [f"{1000 * x:.4g}" for x in at]
    table = table_along(first, [q])
    return Picture(name, title, alt, table, _figure(result, flow, plane, title))


def _side(side: str) -> str:
    return {"x": "from the left", "y": "from the first row's side", "depth": "from the wall"}[side]


def _figure(result: Result, flow: FlowResult, plane: Plane, title: str) -> Figure:
    layout = plane.layout
    round_ = "depth" in layout.extent
    with style.house_style():
        wide, tall = (1.0, 1.0) if round_ else (layout.extent["x"], layout.extent["y"])
        height = float(np.clip(3.6 * tall / wide, 2.4, 4.4))
        figure = style.blank(height + 2.1)
        left, right = figure.subplots(1, 2, width_ratios=[1.2, 1.0])
        _map(figure, left, plane)
        _profiles(right, plane)
        style.finish(figure, title, _caption(result, flow, plane))
        if len(layout) <= NUMBERED:
            _numbers(left, plane)
    return figure


def _places(layout: Layout) -> tuple[Array, Array]:
    """Points of the plane, in mm; of a circle from its middle, the first diameter level."""
    if "depth" not in layout.positions:
        return 1000.0 * layout.positions["x"], 1000.0 * layout.positions["y"]
    number = np.array([p[0] for p in layout.points])
    turn = np.pi * (number - 1) / int(np.max(number))
    out = 1000.0 * (layout.positions["depth"] - 0.5 * layout.extent["depth"])
    return out * np.cos(turn), out * np.sin(turn)


def _apart(x: Array, y: Array) -> float:
    """Least distance between two points."""
    away = np.hypot(np.subtract.outer(x, x), np.subtract.outer(y, y))
    return float(np.min(away[~np.eye(len(x), dtype=bool)]))


def _map(figure: Figure, axes: Axes, plane: Plane) -> None:
    from matplotlib import colormaps
    from matplotlib.colors import ListedColormap, Normalize
    from matplotlib.patches import Circle, Rectangle

    layout, q = plane.layout, plane.velocity
    x, y = _places(layout)
    values = np.asarray(q.value, dtype=float)
    shades: Any = ListedColormap(colormaps["Blues"](np.linspace(LIGHT, DARK, 256)))
    low, high = min(0.0, float(np.min(values))), max(0.0, float(np.max(values))) or 1.0
    scale = Normalize(low, high)
    share = np.clip(np.abs(values) / max(abs(low), abs(high)), 0.0, 1.0)
    largest = min(11.5, 0.8 * _apart(x, y) * MAP / max(np.ptp(x), np.ptp(y)))
    size = (largest * (0.45 + 0.55 * share)) ** 2
    back = values < 0.0
    for those, marker in ((~back, "o"), (back, "X")):
        if np.any(those):
            axes.scatter(
                x[those], y[those], s=size[those], c=values[those], cmap=shades, norm=scale, marker=marker,
                edgecolors="0.25", linewidths=0.7, zorder=3, gid="points" if marker == "o" else "points backwards",
            )  # fmt: skip
    if "depth" in layout.extent:
        r = 500.0 * layout.extent["depth"]
        axes.add_patch(Circle((0.0, 0.0), r, facecolor="none", edgecolor="0.2", linewidth=1.8))
        box = (-r, r, -r, r)
        axes.set_xlabel("from the middle [mm]")
        axes.set_ylabel("from the middle [mm]")
    else:
        wide, tall = 1000.0 * layout.extent["x"], 1000.0 * layout.extent["y"]
        axes.add_patch(Rectangle((0.0, 0.0), wide, tall, facecolor="none", edgecolor="0.2", linewidth=1.8))
        box = (0.0, wide, 0.0, tall)
        axes.set_xlabel("across [mm]")
        axes.set_ylabel("down [mm]")
    room = 0.13 * max(box[1] - box[0], box[3] - box[2])
    beside = 1.8 * room if "depth" in layout.extent else 0.5 * room
    axes.set_xlim(box[0] - beside, box[1] + beside)
    axes.set_ylim(*((box[2] - room, box[3] + room) if "depth" in layout.extent else (box[3] + room, box[2] - room)))
    axes.set_aspect("equal")
    axes.grid(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)
    style.round_ticks(axes.xaxis, 5)
    style.round_ticks(axes.yaxis, 5)
    from matplotlib.cm import ScalarMappable

    bar = figure.colorbar(ScalarMappable(scale, shades), ax=axes, location="bottom", shrink=0.8, aspect=28, pad=0.03)
    bar.set_label(f"velocity [{q.unit}]; a larger mark is faster")
    style.round_ticks(bar.ax.xaxis, 6)


def _three(value: float) -> str:
    """Three digits, and all that stand before the point."""
    return f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:#.3g}".rstrip(".")


def _numbers(axes: Axes, plane: Plane) -> None:
    """Each velocity beside its mark, outside the wall where the mark is next to it; none where they would collide.

    The figure has to be laid out already.
    """
    layout = plane.layout
    values = np.asarray(plane.velocity.value, dtype=float)
    x, y = _places(layout)
    at = axes.transData.transform(np.column_stack([x, y])) * 72.0 / axes.figure.dpi
    words = [_three(v) for v in values]
    number = np.array([p[0] for p in layout.points])
    here = np.array([p[1] for p in layout.points])
    away = np.zeros((len(layout), 2))
    if "depth" in layout.positions:
        turn = np.pi * (number - 1) / int(np.max(number))
        out = np.where(here <= np.max(here) / 2, -1.0, 1.0)
        side = np.where(here % 2 == 0, 1.0, -1.0)
        across, up = np.cos(turn), np.sin(turn)
        away = np.column_stack([-side * up * 17.0, side * across * 11.0])
        last = (here == 1) | (here == np.max(here))
        away[last] = np.column_stack([out * across * 18.0, out * up * 14.0])[last]
    else:
        column = np.sort(np.unique(at[:, 0]))
        row = np.sort(np.unique(at[:, 1]))
        if min(np.diff(column)) < 3.0 + 4.0 * max(map(len, words)) or min(np.diff(row)) < 17.0:
            return
        away[:, 1] = -10.0
        wall = axes.transData.transform((0.0, 1000.0 * layout.extent["y"]))[1] * 72.0 / axes.figure.dpi
        last = number == np.max(number)
        away[last, 1] = wall - 6.0 - at[last, 1]
    for i in range(len(layout)):
        axes.annotate(
            words[i], (x[i], y[i]), tuple(away[i]), textcoords="offset points", ha="center",
            va="center", fontsize=6.5, zorder=4,
        )  # fmt: skip


def _profiles(axes: Axes, plane: Plane) -> None:
    layout, q = plane.layout, plane.velocity
    side = "depth" if "depth" in layout.positions else "x"
    number = np.array([p[0] for p in layout.points])
    lines = np.unique(number)
    if len(lines) > MOST_LINES:
        lines = lines[np.round(np.linspace(0, len(lines) - 1, MOST_LINES)).astype(int)]
    value, low, high = (np.broadcast_to(np.asarray(a, dtype=float), number.shape) for a in (q.value, q.low, q.high))
    pitch = 1000.0 * layout.extent[side] / (len(lines) * np.count_nonzero(number == lines[0]))
    size = 4.5 if np.count_nonzero(number == lines[0]) <= 12 else 2.5
    for i, line in enumerate(lines):
        here = number == line
        x = 1000.0 * layout.positions[side][here] + 0.16 * pitch * (i - (len(lines) - 1) / 2)
        arms = np.maximum([value[here] - low[here], high[here] - value[here]], 0.0)
        dash: Any = style.DASHES[i]
        axes.errorbar(
            x, value[here], yerr=arms, color=style.SHADES[i], linestyle=dash, marker=style.MARKERS[i], markersize=size,
            linewidth=1.1, elinewidth=1.0, capsize=1.5, label=f"{layout.keys[0]} {line}",
        )  # fmt: skip
    mean = plane.mean
    ends = (0.0, 1000.0 * layout.extent[side])
    axes.fill_between(ends, float(mean.low), float(mean.high), facecolor="0.85", hatch="////", edgecolor="0.6",
                      linewidth=0.0, label="mean of the plane, corrected", zorder=0)  # fmt: skip
    axes.plot(ends, [float(mean.value)] * 2, color="0.3", linewidth=1.0, zorder=1)
    axes.set_xlim(*ends)
    style.round_ticks(axes.xaxis, 6)
    axes.set_xlabel("from the wall along the diameter [mm]" if side == "depth" else "across [mm]")
    axes.set_ylabel(f"velocity [{q.unit}]")
    round_limits(axes, "y", [0.0, *low, *high, float(mean.high)], 7)
    if float(np.min(low)) < 0.0:
        axes.axhline(0.0, color="0.3", linewidth=0.8)
    axes.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=2, handlelength=3.0, fontsize=style.SMALL)


def _caption(result: Result, flow: FlowResult, plane: Plane) -> str:
    q, mean, layout = plane.velocity, plane.mean, plane.layout
    shown = rounded(float(mean.u), float(mean.value), float(mean.low), float(mean.high))
    passes = 1 if plane.passes is None else len(plane.passes)
    said = (
        f"{len(layout)} points of {flow.name}, {flow.method.title}, to scale, seen as they are numbered; "
        f"{passes} pass{'es' if passes > 1 else ''}. Mean velocity of the plane, corrected, "
        f"{with_unit(f'{shown[0]} ({shown[1]} to {shown[2]})', mean.unit)}; the velocities vary over the plane by "
        f"{100 * plane.unevenness:.0f} % of their mean (standard deviation). "
        f"Bars hold {percent(result.coverage)}: what "
        f"probe and instruments leave open of a point{' and its passes scatter' if passes > 1 else ''}, in good part "
        "the same for all points; they say nothing of what lies between the points."
    )
    if "depth" in layout.extent:
        said += " The first diameter is drawn level."
    rows = len(np.unique([p[0] for p in layout.points]))
    if rows > MOST_LINES:
        said += f" Profiles of {MOST_LINES} of {rows} {layout.keys[0]}s."
    if np.any(np.asarray(q.value) < 0.0):
        said += " Crosses: the air flows backwards."
    return said + style.invented(result.record)
