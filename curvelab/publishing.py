"""A folder from which a stranger can work a campaign again, and two people's reductions of one book side by side."""

from __future__ import annotations

import csv
import hashlib
import io
import math
import platform
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from . import paper
from .adjustment import Result, adjust, longest
from .decision import Verdict, decide
from .fieldbook import SEALED_PLAN, write_fieldbook
from .privacy import published
from .records import FieldBook
from .refraction import REFERENCE_RADIUS

BOOK, SUMS = "book", "SHA256SUMS"
LICENCE = """This field book and the pages made from it are published under the licence
Creative Commons Attribution 4.0 International (CC BY 4.0).

https://creativecommons.org/licenses/by/4.0/

You may share and change them, for any purpose, if you name their source and say what you changed.
The full text of the licence stands at
https://creativecommons.org/licenses/by/4.0/legalcode
"""
REWORK = """import curvelab
book = curvelab.read_fieldbook("book")
print(curvelab.decide(curvelab.adjust(book)).describe(reader="lab"))"""
README = f"""# A level line over water

The readings, and what was made of them. To work them again: install Python and the versions that `versions.txt` names, and say in this folder

```python
{REWORK}
```

| file | what it is |
|---|---|
| `book/` | the field book, without coordinates, dates, observers, photographs and remarks; times are counted from 2000-01-01 |
| `result.csv` | the numbers that it gives |
| `handout.pdf` | one page for everybody |
| `versions.txt` | what they were worked out with |
| `LICENCE.txt` | CC BY 4.0 |
| `{SUMS}` | check that nothing was changed: `sha256sum -c {SUMS}` |
"""
SEALED = """
`sealed_plan.txt` is word for word the plan that was sealed beforehand; `sha256sum sealed_plan.txt` shows the seal. `handout.pdf` says whether it was kept to:
the times of this book, counted from 2000-01-01, can't tell.
"""


def publish(book: FieldBook, folder: str | Path, *, sealed: bool = False, notebook: bool = False) -> Path:
    """Write a campaign for strangers to work again, into a new or empty folder; nothing is written outside it, nothing overwritten.

    Parameters
    ----------
    book : FieldBook
        With readings. What is published is ``privacy.published``; results are those of the published book, remarks those of the whole one.
    folder : path
    sealed : bool
        Whether the sealed plan goes along: it bears a date, and can't be redacted.
    notebook : bool
        Whether to add an executed notebook; needs nbformat, nbclient and a Python kernel.

    Raises
    ------
    FileExistsError
        Where the folder holds anything.
    ValueError
        Where the book holds no readings, or what is to be published names the coordinates.
    """
    folder, bare = Path(folder), published(book)
    verdict = replace(decide(adjust(bare)), remarks=decide(adjust(book)).remarks)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FileExistsError(f"{folder.name} is there already and not empty: give a new folder")
    texts = {"README.md": README, "LICENCE.txt": LICENCE, "versions.txt": _versions(), "result.csv": _csv(verdict)}
    if sealed and book.sealed_plan:
        texts |= {"README.md": README + SEALED, SEALED_PLAN: book.sealed_plan}
        verdict = replace(verdict, result=replace(verdict.result, book=replace(bare, sealed=book.sealed)))
    _keep_the_place(book, [repr(bare.site), repr(bare.tables), *verdict.remarks, *texts.values()])
    write_fieldbook(bare, folder / BOOK)
    for name, text in texts.items():
        _new(folder / name, text)
    paper.handout(verdict, folder / "handout.pdf")
    if notebook:
        _new(folder / "rework.ipynb", _notebook(folder))
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    _new(folder / SUMS, "".join(f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(folder).as_posix()}\n" for path in files))
    return folder


def values(verdict: Verdict) -> dict[str, tuple[float, str]]:
    """The numbers behind a verdict, each with its unit.

    Returns
    -------
    dict of (value, unit)
    """
    result = verdict.result
    kappa, (low, high) = result.curvature, verdict.radius
    found = {"curvature of the water": (kappa.value * 1e6, "1/1000 km"), "its standard uncertainty": (kappa.u * 1e6, "1/1000 km"),
             "curvature of the ellipsoid": (result.ellipsoid_curvature * 1e6, "1/1000 km"), "length of the longest sight": (verdict.distance, "m"),
             "separation": (verdict.separation, "1"), "gate": (verdict.gate, "1"), "z of flat water": (verdict.z_flat, "1"), "z of the ellipsoid": (verdict.z_ellipsoid, "1"),
             "p of flat water": (verdict.p_flat, "1"), "p of the ellipsoid": (verdict.p_ellipsoid, "1"), "radius, lower end of 95 %": (low / 1000, "km"),
             "radius, upper end of 95 %": (high / 1000, "km"), "coefficient of refraction": (result.effective_k, "1"), "chi squared": (result.chi2, "1"),
             "degrees of freedom": (float(result.dof), "1")}
    found |= {f"collimation of level {name}": (estimate.value * 1e6, "µrad") for name, estimate in result.collimation.items()}
    return found | {f"height of {name}": (estimate.value, "m") for name, estimate in result.heights.items()}


@dataclass(frozen=True)
class Difference:
    """One quantity of two reductions: `a`, `b` and `b` - `a` in `unit`, and that over the larger standard uncertainty of the two (NaN where it has none)."""

    quantity: str
    unit: str
    a: float
    b: float
    difference: float
    in_u: float


@dataclass(frozen=True)
class Comparison:
    """Two reductions of one book: the `rows` that can be compared, both outcomes, and the tables and keys in which the books differ."""

    rows: tuple[Difference, ...]
    outcomes: tuple[str, str]
    changed: tuple[str, ...] = field(default=())

    def describe(self) -> str:
        """The two side by side, in plain English."""
        same = self.outcomes[0] == self.outcomes[1]
        told = [f"Both verdicts are: {self.outcomes[0]}." if same else f"The verdicts differ: {self.outcomes[0]}, and {self.outcomes[1]}."]
        apart = [row for row in self.rows if row.difference]
        told += [f"{' '.join(row.quantity.split())}: {row.a:.5g} and {row.b:.5g} {row.unit}".removesuffix(" 1") + _apart(row) + "." for row in apart]
        told.append(f"{len(self.rows) - len(apart)} of {len(self.rows)} numbers are the same.")
        told.append(f"The books differ in {', '.join(self.changed)}." if self.changed else "The books are the same, word for word.")
        return "\n".join(told)


def compare(a: Result, b: Result) -> Comparison:
    """Two people's reductions of one book, side by side.

    Parameters
    ----------
    a, b : Result
        With readings.

    Returns
    -------
    Comparison

    Raises
    ------
    ValueError
        Where they have no point in common: they are not of one book.
    """
    if not {r.point for r in a.book.readings} & {r.point for r in b.book.readings}:
        raise ValueError("these two results have no point in common, so they are not of one book: reduce the same book twice")
    judged = decide(a), decide(b)
    (one, other), (u, v) = map(values, judged), map(_uncertainties, (a, b))
    rows = [_difference(name, unit, value, other[name][0], max(u.get(name, 0.0), v.get(name, 0.0))) for name, (value, unit) in one.items() if name in other]
    return Comparison(tuple(rows), tuple(verdict.outcome for verdict in judged), _changed(a.book, b.book))


def _difference(name: str, unit: str, a: float, b: float, u: float) -> Difference:
    """One quantity compared; two infinite or missing values are alike."""
    between = 0.0 if a == b or math.isnan(a) and math.isnan(b) else b - a
    return Difference(name, unit, a, b, between, between / u if u else math.nan)


def _apart(row: Difference) -> str:
    """How far apart in standard uncertainties, where there is one."""
    return "" if math.isnan(row.in_u) else f", {abs(row.in_u):.2f} standard uncertainties apart"


def _uncertainties(result: Result) -> dict[str, float]:
    """Standard uncertainties by the names and in the units of `values`."""
    sight = longest(result).reading
    named = {f"collimation of level {name}": e.u * 1e6 for name, e in result.collimation.items()} | {f"height of {name}": e.u for name, e in result.heights.items()}
    k = {} if result.by_profile else {"coefficient of refraction": result.refraction[sight.air].u * REFERENCE_RADIUS}
    return {"curvature of the water": result.curvature.u * 1e6} | k | named


def _changed(a: FieldBook, b: FieldBook) -> tuple[str, ...]:
    """Tables and keys of the site that two books do not share."""
    tables = [name for name in dict.fromkeys((*a.tables, *b.tables)) if a.tables.get(name) != b.tables.get(name)]
    one, other = _flat(a.site), _flat(b.site)
    return (*(key for key in dict.fromkeys((*one, *other)) if one.get(key) != other.get(key) and not key.startswith("line.")), *tables)


def _flat(site: Mapping[str, object], path: str = "") -> dict[str, object]:
    """Keys with dots."""
    found: dict[str, object] = {}
    for key, value in site.items():
        found |= _flat(value, f"{path}{key}.") if isinstance(value, Mapping) else {f"{path}{key}": value}
    return found


def _csv(verdict: Verdict) -> str:
    """The table of results."""
    out = io.StringIO()
    rows = [(name, f"{value:.6g}", unit) for name, (value, unit) in values(verdict).items()]
    csv.writer(out, lineterminator="\n").writerows([("name", "value", "unit"), ("outcome", verdict.outcome, ""), *rows])
    return out.getvalue()


def _versions() -> str:
    """What this was worked out with."""
    return f"python {platform.python_version()}\nnumpy {np.__version__}\ncurvelab {sys.modules[__package__].__version__}\n"


def _keep_the_place(book: FieldBook, texts: list[str]) -> None:
    """Refuse to publish texts in which both coordinates of a shore stand, to 0.001° or nearer."""
    for end in ("from", "to"):
        exact = [f"{math.trunc(abs(value) * 1000) / 1000:.3f}" for value in book.site["line"].get(end, ())]
        if exact and all(any(digits in text for text in texts) for digits in exact):
            raise ValueError("a name, a table or the sealed plan of this book holds the coordinates of its line: take them out")


def _notebook(folder: Path) -> str:
    """A notebook that works the published book again, executed there."""
    try:
        import nbclient
        import nbformat
    except ImportError:
        raise ImportError("a notebook needs nbformat and nbclient: install them, or leave notebook=False") from None
    cells = [nbformat.v4.new_markdown_cell("# A level line over water, worked again", id="title"), nbformat.v4.new_code_cell(REWORK, id="rework")]
    made = nbformat.v4.new_notebook(cells=cells)
    nbclient.NotebookClient(made, resources={"metadata": {"path": str(folder)}}, record_timing=False).execute()
    return nbformat.writes(made) + "\n"


def _new(path: Path, text: str) -> None:
    """Write a file that is not there yet."""
    with path.open("x", encoding="utf-8", newline="\n") as out:
        out.write(text)
