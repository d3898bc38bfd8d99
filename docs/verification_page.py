"""The page "Verification": every problem of ``tests/physics/problems``, solved while it is built.

``page`` writes headings, statements and sources; in its cells ``show`` solves one problem and shows
the rows that the tests hold to their bounds, and the picture of the same numbers.
"""

import sys
from importlib.util import find_spec
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "physics"))

from made_at_build import table
from problems import PROBLEMS, SECTIONS
from problems.comparison import Comparison, Panel, Row

HEAD = """\
---
file_format: mystnb
kernelspec:
  name: python3
  display_name: Python 3
---

# Verification

Problems whose answer is known apart from this library: closed forms, quadrature, published numbers,
other integrators, and solutions that were chosen first and made exact by a source. Every row is
computed while this page is built, by the code of the tests; a test fails where a difference is
larger than its bound. Where a row names a place, it is the one with the largest difference. "Finer"
means shorter distances between nodes than the default; other settings stand in
`tests/physics/problems`.

"""
TAIL = "## How close to the bounds\n\n"


def page() -> str:
    """Markdown of the page, with a cell for each problem."""
    parts = [HEAD]
    for section, problems in SECTIONS.items():
        parts.append(f"## {section}\n\n")
        for problem in problems:
            parts.append(f"### {problem.title}\n\n{problem.statement}\n\n")
            parts.append(f"*Held to:* {problem.source}\n\n")
            parts.append(cell(f"show({problem.title!r})"))
    parts += [TAIL, cell("summary()")]
    return "".join(parts)


def cell(call: str) -> str:
    name = call.split("(")[0]
    return (
        "```{code-cell} ipython3\n:tags: [remove-input]\n\n"
        f"from verification_page import {name}\n\n{call}\n```\n\n"
    )


SOLVED: dict[str, Comparison] = {}


def show(title: str) -> None:
    """Solve a problem and display its rows and its picture."""
    import matplotlib.pyplot as plt
    from IPython.display import Markdown, display

    problem = PROBLEMS[title]
    if problem.needs and find_spec(problem.needs) is None:
        display(Markdown(f"*Not computed here: `{problem.needs}` is not installed.*"))
        return
    solved = SOLVED[title] = problem.solve()
    if solved.misses:
        raise ValueError(f"{title}: out of bounds: {solved.misses}")
    header = ("quantity", "reference", "soilwater", "difference", "bound")
    display(Markdown("\n".join(table(header, [cells(row) for row in solved.rows]))))
    display(draw(solved))
    plt.close("all")
    display(Markdown(f"*{solved.caption}*"))


def cells(row: Row) -> tuple[str, ...]:
    """Texts of a row; round-off is called that."""
    difference = f"{row.difference:+.1e}" if row.difference else "0"
    bound = f"at least {row.reference - row.bound:g}" if row.one_sided else f"± {row.bound:.2g}"
    return row.quantity, f"{row.reference:.6g}", f"{row.ours:.6g}", difference, bound


def summary() -> None:
    """Display how much of its bound each problem uses."""
    from IPython.display import Markdown, display

    rows = []
    for title, solved in SOLVED.items():
        used = [abs(r.difference) / r.bound for r in solved.rows if r.bound and not r.one_sided]
        rows.append(
            (title, str(len(solved.rows)), f"{100.0 * max(used):.2g} %" if used else "one-sided")
        )
    total = str(sum(len(solved.rows) for solved in SOLVED.values()))
    header = ("problem", "rows", "largest difference, of its bound")
    display(Markdown("\n".join(table(header, [*rows, ("together", total, "")]))))


ROWS_AND_SIZE = {1: (1, 6.4, 4.4), 2: (1, 9.0, 4.2), 3: (1, 9.0, 3.9), 4: (2, 9.0, 7.4)}


def draw(solved: Comparison):
    """Figure of all panels: lines are the reference, circles ours, in one colour a curve."""
    import matplotlib.pyplot as plt

    import soilwater as sw

    count = len(solved.panels)
    n_rows, width, height = ROWS_AND_SIZE.get(count, (2, 9.0, 7.4))
    with sw.plot.look():
        figure, axes = plt.subplots(
            n_rows, -(-count // n_rows), figsize=(width, height), squeeze=False
        )
        for ax in axes.flat[count:]:
            ax.set_axis_off()
        named: tuple[str, ...] = ()
        for i, (ax, panel) in enumerate(zip(axes.flat, solved.panels, strict=False)):
            draw_panel(ax, panel)
            labels = tuple(curve.label for curve in panel.curves)
            if any(labels) and labels != named:
                # Lines of an order leave no room between them.
                below = {"loc": "upper center", "bbox_to_anchor": (0.5, -0.16)}
                ax.legend(fontsize="small", handlelength=1.4, **(below if panel.log_y else {}))
            named = labels
            if i % axes.shape[1] and panel.y_label == solved.panels[i - 1].y_label:
                ax.set_ylabel("")
    return figure


def draw_panel(ax, panel: Panel) -> None:
    from matplotlib.ticker import NullLocator

    from soilwater.plot.style import INK, line_colours

    for curve, colour in zip(panel.curves, line_colours(len(panel.curves)), strict=True):
        label = curve.label or None
        marks = {"marker": "o", "markersize": 4.0, "markerfacecolor": "white", "linestyle": "none"}
        if curve.reference_is_points:
            ax.plot(
                *curve.reference,
                linestyle="none",
                marker="x",
                markersize=8.0,
                markeredgewidth=1.8,
                color=INK,
                zorder=5,
                label=label,
            )
        elif curve.reference is not None:
            ax.plot(*curve.reference, color=colour, linewidth=1.6, label=label)
            label = None
        if curve.ours is not None and curve.ours_is_line:
            ax.plot(*curve.ours, color=colour, linewidth=1.6, label=label)
        elif curve.ours is not None:
            ax.plot(*curve.ours, color=colour, label=label, **marks)
    if panel.log_x:
        ax.set_xscale("log")
    if panel.log_y:
        ax.set_yscale("log")
    if panel.x_ticks:
        ax.set_xticks(panel.x_ticks, [f"{tick:g}" for tick in panel.x_ticks])
        ax.xaxis.set_minor_locator(NullLocator())
    ax.set(xlabel=panel.x_label, ylabel=panel.y_label, xlim=panel.x_limits)
    if panel.title:
        ax.set_title(panel.title, fontsize=9.5)
    if panel.y_limits != (None, None):
        ax.set_ylim(*panel.y_limits)
    elif panel.depth_down:
        ax.invert_yaxis()
