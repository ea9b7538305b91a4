"""What every study returns: one frozen result that shows itself as JSON, table, text, notebook page and picture.

A study has one name, and everything about it bears that name: `analysis/<study>.py` (or a folder of its own, such as
`fitting`) computes, `output/<study>.py` puts into words and tables, `plotting/<study>.py` draws. A result finds its own
presentation by that name, so that the command line and Python users show the same answer by the same code, and no study
knows how it is printed.

`output/<study>.py` offers

- `document(result)`: the JSON object, SI units, keys named with their units;
- `tables(result, system)`: every table;
- `text(result, system)`: what the command prints, 80 columns wide, and, where that leaves tables out,
  `full_text(result, system)`, which holds them all;
- `summary(result, system)`: one sentence, or a few;
- `columns(result)`: for results that are tables or traces, name and values of every column;
- `files(result)`: for results that write further files with `--out`, the text of each by the end of its name.

`plotting/<study>.py` offers `figures(result, system)`, the sheets that a command writes, and `draw(axes, result,
system)`, the main panel alone.
"""

from __future__ import annotations

from html import escape
from importlib import import_module
from typing import TYPE_CHECKING, Any, ClassVar

from simlaunch.errors import UsageError
from simlaunch.units.spelling import System, system_named

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LONGEST = 160  # characters of a summary in a repr


class Result:
    """Base of the results of all studies.

    Units are SI unless a method says otherwise; `units` is ``"metric"`` or ``"us"``.
    """

    study: ClassVar[str]
    """Name of the study, which its modules in `output` and `plotting` bear too."""

    @property
    def _words(self) -> Any:
        return import_module(f"simlaunch.output.{self.study}")

    @property
    def _pictures(self) -> Any:
        return import_module(f"simlaunch.plotting.{self.study}")

    def to_dict(self, **options: bool) -> dict[str, Any]:
        """The result as the JSON object that the command of the same name prints.

        Parameters
        ----------
        **options : bool
            ``trace=True`` adds the histories to the results of `run` and `compare`.

        Returns
        -------
        dict
            SI units, named in the keys; None for what was not reached. Its `format` carries a version.
        """
        document: dict[str, Any] = self._words.document(self, **options)
        return document

    def to_text(self, units: str = "metric", *, full: bool = False) -> str:
        """What the command of the same name prints.

        Parameters
        ----------
        units : str
            System of units.
        full : bool
            Every table, as with `--all`, instead of what fits a screen.

        Returns
        -------
        str
            Lines of 80 columns at most.

        Raises
        ------
        UsageError
            No system of units of that name.
        """
        words = self._words
        printed = words.full_text if full and hasattr(words, "full_text") else words.text
        text: str = printed(self, system_named(units))
        return text

    def to_dataframe(self) -> pd.DataFrame:
        """The rows or the trace of this result.

        Returns
        -------
        pandas.DataFrame
            SI units, named in the columns.

        Raises
        ------
        UsageError
            The result is neither a table nor a trace.
        """
        if not hasattr(self._words, "columns"):
            raise UsageError(f"a result of {self.study} is neither a table nor a trace; use to_dict()")
        import pandas as pd  # noqa: PLC0415  slow to import, and only some callers want it

        return pd.DataFrame(dict(self._words.columns(self)))

    def summary(self, units: str = "metric") -> str:
        """What the result comes to, in a sentence or a few.

        Parameters
        ----------
        units : str
            System of units.

        Returns
        -------
        str
            Plain text on one line.

        Raises
        ------
        UsageError
            No system of units of that name.
        """
        text: str = self._words.summary(self, system_named(units))
        return text

    def figures(self, units: str = "metric") -> dict[str, Figure]:
        """The sheets that the command of the same name writes with `--out`.

        Parameters
        ----------
        units : str
            System of units.

        Returns
        -------
        dict of str to matplotlib.figure.Figure
            By name; empty where there is nothing to draw.

        Raises
        ------
        UsageError
            No system of units of that name.
        """
        made: dict[str, Figure] = self._pictures.figures(self, system_named(units))
        return made

    def plot(self, ax: Axes | None = None, units: str = "metric") -> Axes:
        """Draw the main panel of this result.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to; new ones of `matplotlib.pyplot` if left out.
        units : str
            System of units.

        Returns
        -------
        matplotlib.axes.Axes
            What was drawn on.

        Raises
        ------
        UsageError
            No system of units of that name.
        """
        system = system_named(units)
        if ax is None:
            import matplotlib.pyplot as plt  # noqa: PLC0415  slow to import, and only some callers want it

            _, ax = plt.subplots(layout="constrained")
        self._pictures.draw(ax, self, system)
        return ax

    def __repr__(self) -> str:
        summary = self.summary()
        short = summary if len(summary) <= _LONGEST else f"{summary[: _LONGEST - 3].rstrip()}..."
        return f"<simlaunch {self.study}: {short}>"

    def _repr_html_(self) -> str:
        """The summary and every table, for a notebook."""
        tables = self._words.tables(self, System.METRIC)
        return "\n".join([f"<p>{escape(self.summary())}</p>", *map(_html_table, tables)])


def _html_table(table: Any) -> str:
    heads = "".join(f"<th>{escape(head)}</th>" for head in table.heads)
    rows = (
        f"<tr><th>{escape(row.label)}</th><td>{escape(row.unit)}</td>"
        + "".join(f"<td>{escape(cell)}</td>" for cell in row.cells)
        + "</tr>"
        for row in table.rows
    )
    head = f"<tr><th>{escape(table.title)}</th><th></th>{heads}</tr>"
    return f"<table><thead>{head}</thead><tbody>{''.join(rows)}</tbody></table>"
