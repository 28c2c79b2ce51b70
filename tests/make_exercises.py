"""Make the student's notebooks from the solutions: answers taken out, run once, written to notebooks/exercises.

    python tests/make_exercises.py [--check]

In a solution, a line that ends with ``# solution`` is left out for the student, and one that ends with
``# exercise: text`` becomes that text. A markdown cell that begins with ``**Solution.**`` is left out.
``--check`` writes nothing and names the notebooks that would change.
"""
import argparse
import copy
import sys

import nbformat
import normalise

SOLUTIONS, EXERCISES = normalise.NOTEBOOKS / "solutions", normalise.NOTEBOOKS / "exercises"
LEFT_OUT, BECOMES = "# solution", "# exercise: "


def blanked_line(line):
    """One line of code as the student gets it, None if it is left out."""
    if line.rstrip().endswith(LEFT_OUT):
        return None
    before, found, after = line.partition(BECOMES)
    return before[:len(before) - len(before.lstrip())] + after if found else line


def blanked(nb):
    """The student's notebook: no answer, no output, nothing run."""
    student = copy.deepcopy(nb)
    student.cells = [cell for cell in student.cells if not cell.source.startswith("**Solution.**")]
    for cell in student.cells:
        if cell.cell_type == "code":
            lines = [blanked_line(line) for line in cell.source.split("\n")]
            cell.source = "\n".join(line for line in lines if line is not None)
            cell.outputs, cell.execution_count = [], None
    return normalise.tidied(student)


def sources(nb):
    """Kind, name and source of each cell."""
    return [(cell.cell_type, cell.id, cell.source) for cell in nb.cells]


def pairs():
    """Each solution with the path of the exercise that is made from it."""
    return [(path, EXERCISES / path.name) for path in sorted(SOLUTIONS.glob("*.ipynb"))]


def stale():
    """Exercises that are not what their solution makes."""
    wanted = {target: sources(blanked(nbformat.read(path, as_version=4))) for path, target in pairs()}
    there = {path: sources(nbformat.read(path, as_version=4)) for path in EXERCISES.glob("*.ipynb")}
    return sorted({path for path in wanted | there if wanted.get(path) != there.get(path)})


def main(arguments=None):
    """Run the script; the exit status is 1 where ``--check`` finds an exercise to make again."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="write nothing, only name what would change")
    changed = stale()
    for path in changed:
        print("changed:", path.relative_to(normalise.NOTEBOOKS))
    if parser.parse_args(arguments).check:
        return 1 if changed else 0
    EXERCISES.mkdir(exist_ok=True)
    for path in changed:
        path.unlink(missing_ok=True)
    made = [path for path, _ in pairs() if EXERCISES / path.name in changed]
    for path in made:
        nbformat.write(blanked(nbformat.read(path, as_version=4)), EXERCISES / path.name)
    for path, text in normalise.run([EXERCISES / path.name for path in made]).items():
        path.write_text(text, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
