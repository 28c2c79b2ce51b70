"""Run notebooks and write them so that running them again changes nothing.

    python tests/normalise.py [--check] [notebook ...]      default: all below notebooks/

A notebook is kept with its outputs, in the order 1 to n, and without anything that differs
from one run or one machine to the next: no timing, no widget state, numbered ids.
``--check`` writes nothing and names the notebooks that a new run would change.
"""
import argparse
import asyncio
import base64
import io
import os
import sys
from pathlib import Path

import matplotlib
import nbformat
import numpy as np
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError
from PIL import Image

NOTEBOOKS = Path(__file__).resolve().parent.parent / "notebooks"
METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
KEPT_OF_A_CELL = {"jupyter", "tags", "editable", "deletable"}
DRAWN_WITH = (3, 11)  # matplotlib, whose letters the stored pictures have
VIEW = "application/vnd.jupyter.widget-view+json"


def notebooks():
    """All notebooks of the project, hidden folders left out, in order."""
    return sorted(p for p in NOTEBOOKS.rglob("*.ipynb")
                  if not any(part.startswith(".") for part in p.relative_to(NOTEBOOKS).parts))


def tidied(nb):
    """The same notebook without what changes from run to run; nothing is executed."""
    nb.metadata = nbformat.from_dict(METADATA)
    nb.nbformat, nb.nbformat_minor = 4, 5
    models, count = {}, 0
    for number, cell in enumerate(nb.cells, 1):
        cell.id = f"c{number:02d}"
        cell.metadata = {k: v for k, v in cell.metadata.items() if k in KEPT_OF_A_CELL}
        if cell.cell_type != "code":
            continue
        if cell.execution_count is not None:
            count += 1
            cell.execution_count = count
        for output in cell.outputs:
            if "execution_count" in output:
                output.execution_count = cell.execution_count
            view = output.get("data", {}).get(VIEW)
            if view:
                view["model_id"] = models.setdefault(view["model_id"], f"{len(models) + 1:032x}")
    return nb


async def _run(path, turn):
    """Text of one notebook after a run from the top, in its own folder."""
    nb = nbformat.read(path, as_version=4)
    client = NotebookClient(nb, kernel_name="python3", timeout=60, record_timing=False,
                            store_widget_state=False, coalesce_streams=True,
                            resources={"metadata": {"path": str(path.parent)}})
    async with turn:
        try:
            await client.async_execute()
        except CellExecutionError as fault:
            fault.add_note(f"in {path}")
            raise
    return nbformat.writes(tidied(nb)) + "\n"


def run(paths):
    """Run notebooks, as many at a time as there are processors: a dict of path and new text."""
    async def together():
        turn = asyncio.Semaphore(os.cpu_count() or 1)
        return await asyncio.gather(*(_run(Path(p), turn) for p in paths), return_exceptions=True)

    texts = dict(zip(paths, asyncio.run(together())))
    failed = [fault for fault in texts.values() if isinstance(fault, BaseException)]
    if failed:
        raise ExceptionGroup("notebooks that do not run to their end", failed)
    return texts


def _thumbnail(png):
    """16 by 16 grey values [0 to 1] of a picture, so coarse that another font makes no difference."""
    picture = Image.open(io.BytesIO(base64.b64decode(png))).convert("RGBA")
    white = Image.new("RGBA", picture.size, "white")
    small = Image.alpha_composite(white, picture).convert("L").resize((16, 16), Image.Resampling.BOX)
    return np.asarray(small) / 255


def same(old, new):
    """Whether two texts of a notebook say the same.

    Everything is compared character by character but pictures: their bytes depend on the version
    of matplotlib, so they may differ by 3 % of black in a 16 by 16 reduction. Older versions than
    the one that drew them set letters wider or narrower: there they only have to be as many.
    """
    texts, pictures = [], []
    for text in (old, new):
        nb = nbformat.reads(text, as_version=4)
        found = [out.data for cell in nb.cells for out in cell.get("outputs", [])
                 if "image/png" in out.get("data", {})]
        pictures.append([_thumbnail(data["image/png"]) for data in found])
        for data in found:
            data["image/png"] = "picture"
        texts.append(nbformat.writes(nb))
    alike = 0.03 if matplotlib.__version_info__ >= DRAWN_WITH else 1.0
    return texts[0] == texts[1] and all(
        np.abs(a - b).max() <= alike for a, b in zip(*pictures, strict=True))


def main(arguments=None):
    """Run the script; the exit status is 1 where ``--check`` finds a notebook to renew."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("notebook", nargs="*", type=Path)
    parser.add_argument("--check", action="store_true", help="write nothing, only name what would change")
    options = parser.parse_args(arguments)
    changed = 0
    for path, text in run(options.notebook or notebooks()).items():
        if same(path.read_text(encoding="utf-8"), text):
            continue
        changed += 1
        print("changed:", path)
        if not options.check:
            path.write_text(text, encoding="utf-8", newline="\n")
    return 1 if options.check and changed else 0


if __name__ == "__main__":
    sys.exit(main())
