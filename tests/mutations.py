"""Do the tests test? Small faults are put into the physics rooms, one at a time, and the tests that concern the room run on each.

    python tests/mutations.py [faults of a room, 60] [room ...]

Faults that no test notices are printed, and a row of counts for each room. Of a room those faults are tried whose names have the
least hashes, so that an edit elsewhere in it doesn't change which. Tests of pages and of simulated lakes are left out. Linux, macOS.
"""

from __future__ import annotations

import ast
import compileall
import hashlib
import importlib.util
import os
import re
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
TEXTS = (str, ast.JoinedStr, ast.List)  # their sums are no sums
LIMIT = 60  # seconds of processor time after which a fault counts as noticed
ROOMS = {  # and the test files that concern them, the likeliest first
    "numbers": "instrument refraction lake", "quantities": "units", "ellipsoid": "ellipsoid", "refraction": "refraction air",
    "profile": "profile air", "ray": "ray air", "instrument": "instrument field_test", "field_test": "field_test", "lake": "lake",
    "water": "water adjustment", "uncertainty": "uncertainty gum", "gum": "gum", "montecarlo": "montecarlo", "air": "air adjustment",
    "rows": "adjustment", "priors": "adjustment air", "observation": "adjustment air", "leastsquares": "adjustment", "determinacy": "adjustment",
    "adjustment": "adjustment air decision", "prediction": "adjustment air", "diagnosis": "decision sceptic", "decision": "decision sceptic air"}
SWAPS = {ast.Add: [ast.Sub], ast.Sub: [ast.Add], ast.Mult: [ast.Div], ast.Div: [ast.Mult],
         ast.Lt: [ast.LtE, ast.Gt], ast.LtE: [ast.Lt, ast.GtE], ast.Gt: [ast.GtE, ast.Lt], ast.GtE: [ast.Gt, ast.LtE]}
# Whole numbers in calls of these, and given as these arguments, are shapes, axes and sizes of samples.
SHAPES = set("reshape sum min max any all argmin argmax round expand_dims full zeros empty take_along_axis array_split std ptp repeat axis ddof "
             "maxsize count maxsplit seed trials".split())
EXCUSED = {  # faults that no test needs to notice, by why: names as printed, … for any characters
    "a limit of judgement, against slips: where exactly it lies is no physics": """
        numbers.checked: …1e+300… | instrument.crosshair_error: …0.5… | refraction.: -1 -> -2 | refraction.: (-1, 1, … | profile.: _HIGHEST…
        profile.obukhov_length: checked(… | field_test._some: …1e-12… | lake.pressure_rise: …00000.0… | lake._metres: …
        lake.wind_set_up: checked('stress'… | adjustment.: (0.01, 0.01… | diagnosis.slip: 2 * u -> 3 * u | diagnosis.summed: 0.0001 * …
        diagnosis.: {'a metre'… | diagnosis.: (6.0, 3.0) -> … | diagnosis.stands_apart: 0.01 / … | ray.: (128, 8, 30, 3)…""",
    "common practice without a source; that a better class is better is tested": "instrument.: LevelClass(… | instrument.: 0.0015 / 30…",
    "no edge: two computed numbers are never equal there": """
        profile.stability: …>=… | lake.what_matters: height > … | field_test.full_test: …<=… | decision._outcome: separation < least -> …
        diagnosis.gross_repeats: …>=… | diagnosis.lone_repeats: …1 <= … | diagnosis.misfits: …>=… | diagnosis.culprits: …>=… | diagnosis.slip: …<=…
        adjustment.Result.unchecked: …<=… | adjustment.Result.contradictory: …<=… | determinacy._only_by_curvature: …>=… | adjustment._iterated: …) <= SETTLED … < SETTLED … | air.strength_for: …<=… | montecarlo._bent: …<=…
        ray.warnings: …<=… | ray._settled: low <= floor -> … | ray._settled: judged.max(… | ray._settled: move * rate <= settled -> … | ray.Path.lowest: bend > 0 -> … | ray._given: …""",
    "speed alone, or the way of an iteration to the same end": """
        ellipsoid.: _BLOCK… | decision.critical: 3 * combine(… | adjustment.start: 5 if …
        adjustment.: (40, … | adjustment._share: max(… | adjustment._share: …1.01 | adjustment._iterated: 1e-06 * expected…
        gum.student_factor: range(60)… | air.strength_for: range(30)… | air.strength_for: (layer(air), 0.0…
        air.strength_for: here.per_gradient * … | ray.: 1 / 1300… | ray.: 2 ** halvings… | ray.: 1 / 60000…
        ray._settled: min(max(… | ray._settled: 0.0 -> 0.01 #5 | ray._settled: move / moved -> … | ray._settled: 2 * t.size // 3 -> …""",
    "rounding, or a step or range of integration that is fine enough": """
        refraction.curvature_of_ray: step = 1e-30… | leastsquares.: RANK… | leastsquares.Solution.determined: …
        leastsquares._pseudo_inverse: 0.0 -> 0.01 | adjustment.Result.weak: max(… | adjustment.Result.chi2: …1e-09…
        uncertainty._student_characteristic: 4 / dof -> … | gum.checked_correlation: …1e-12… | gum.student_factor: 1e-13 * w…
        air.stated: v + (q.u or 0)… | ray.: (4e-10, 4.8e-10… | ray._settled: 1e-09 + … | ray._by_height_alone: …1e-12…""",
    "changes nothing by periodicity, symmetry or algebra": """
        ellipsoid.azimuth_radius: half_turns -= … | field_test.two_peg_sets: each - slope -> …
        water.level_weights: np.where(after > before, …1.01) | leastsquares.solve: scale[…1.01 | leastsquares.solve: norm[…1.01
        leastsquares.solve: np.where(u == 0, 1.0, u) -> …1.01… | leastsquares.solve: 1 / np.where(… -> 2 / … | leastsquares.solve: design * …
        leastsquares._pseudo_inverse: m < n -> m <= n | rows.Row: 0.0 -> 0.01 | adjustment.Result.contradictory: self.dof > 0 -> self.dof >= 0
        observation._height_terms: [0.0] -> [0.01] | montecarlo._student.fill: part.value + … | montecarlo._bent: math.pi / 2 -> …
        montecarlo._summarised: 0 < probability < 1 -> … | ray.Path.lowest: np.where(bend > 0, bend, 1.0) -> …1.01)
        prediction._known: (0.0, 0.0) -> …""",
    "size of a sample": "montecarlo.simulate: 1000000…",}


def changes(node: ast.AST, shape: bool) -> list[ast.AST]:
    """What may stand in place of a node; `shape` where its whole numbers are no physics."""
    swaps, found = SWAPS.get(type(getattr(node, "op", None)), []), []
    match node:
        case ast.BinOp(left=left, op=op, right=right) if not any(isinstance(getattr(x, "value", x), TEXTS) for x in (left, right)):
            found = [ast.BinOp(left, swap(), right) for swap in swaps]
            if isinstance(op, (ast.Add, ast.Sub)):
                found += [left, right][:1 + isinstance(op, ast.Add)]  # a term left out
            if isinstance(op, ast.Pow):
                found.append(ast.BinOp(left, op, ast.BinOp(right, ast.Add(), ast.Constant(1))))
        case ast.AugAssign(target=target, value=value):
            found = [ast.AugAssign(target, swap(), value) for swap in swaps]
        case ast.UnaryOp(op=ast.USub(), operand=operand) if not shape:
            found = [operand]
        case ast.Compare(left=left, ops=ops, comparators=others):
            found = [ast.Compare(left, [*ops[:i], swap(), *ops[i + 1:]], others) for i, old in enumerate(ops) for swap in SWAPS.get(type(old), [])]
        case ast.Constant(value=value) if type(value) is float or (type(value) is int and not shape):
            found = [ast.Constant(value + 1 if type(value) is int else value * 1.01 or 0.01)]
    return found


def places(node: ast.AST, where: str = "", shape: bool = False) -> Iterator[tuple]:
    """Every place in a tree that holds a node: its parent, what holds it there under which key, the function, and `shape`."""
    if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
        where = f"{where}.{node.name}".strip(".")
    named = getattr(node.func, "attr", getattr(node.func, "id", "")) if isinstance(node, ast.Call) else getattr(node, "arg", "")
    shape = shape or named in SHAPES
    for field, value in ast.iter_fields(node):
        if field in ("annotation", "returns", "decorator_list", "slice") or isinstance(node, (ast.Raise, ast.JoinedStr)):
            continue
        for holder, key in [(value, i) for i in range(len(value))] if isinstance(value, list) else [(vars(node), field)]:
            power = isinstance(getattr(node, "op", None), ast.Pow) and field == "right" and isinstance(holder[key], ast.Constant)
            if isinstance(holder[key], ast.AST) and not power:  # an exponent is raised with its power
                yield node, holder, key, where, shape
                yield from places(holder[key], where, shape)


def mutants(room: str, source: str) -> list[tuple[str, int, str]]:
    """Of a room's source: name, line and changed source of every fault."""
    tree, found, seen = ast.parse(source), [], Counter()
    for parent, holder, key, where, shape in list(places(tree)):
        held = holder[key]
        shown = parent if isinstance(held, (ast.Constant, ast.UnaryOp)) and isinstance(parent, (ast.expr, ast.Assign, ast.Return)) else held
        before = ast.unparse(shown)
        for new in changes(held, shape):
            holder[key] = new
            after = ast.unparse(parent if shown is parent else new)
            name = f"{room}.{where}: " + (f"{before} -> {after}" if len(before) < 100 else f"{ast.unparse(held)} -> {ast.unparse(new)}")
            seen[name] += 1
            found.append((name + f" #{seen[name]}" * (seen[name] > 1), held.lineno, ast.unparse(ast.fix_missing_locations(tree))))
        holder[key] = held
    return sorted(found, key=lambda fault: hashlib.sha256(fault[0].encode()).hexdigest())


def passes(room: str) -> bool:
    """Whether every test of a room passes in the copy that is the working folder, in a process of its own."""
    child = os.fork()
    if not child:
        signal.setitimer(signal.ITIMER_PROF, LIMIT)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        import pytest
        options = "-k not(simulated_lakes)and(not(page)) -x -q -o addopts= -p no:cacheprovider --assert=plain --doctest-modules".split()
        os._exit(pytest.main([*options, f"curvelab/{room}.py", *(f"tests/test_{name}.py" for name in ROOMS[room].split())]))
    return os.waitpid(child, 0)[1] == 0


def prepare(folder: Path) -> None:
    """Work in a copy of the package and its tests, with what they import at hand, and no search for simpler failures."""
    for name in ("curvelab", "tests", "data"):
        shutil.copytree(ROOT / name, folder / name)
    shutil.copy(ROOT / "pyproject.toml", folder)
    os.chdir(folder)
    compileall.compile_dir(folder, quiet=1)
    sys.path.insert(0, str(folder))
    sys.dont_write_bytecode = True
    os.environ.update(PYTHONPATH=str(folder), PYTHONDONTWRITEBYTECODE="1", PYTEST_DISABLE_PLUGIN_AUTOLOAD="1", OPENBLAS_NUM_THREADS="1")
    for name in "pytest scipy.stats scipy.integrate pyproj boule GTC uncertainties matplotlib.pyplot ipywidgets hypothesis".split():
        importlib.import_module(name)
    from hypothesis import Phase, settings
    settings.register_profile("faults", derandomize=True, database=None, deadline=None, phases=[Phase.explicit, Phase.generate])
    settings.load_profile("faults")


def attempt(room: str, count: int) -> str:
    """Try so many faults of a room; a row of counts: of all, tried, noticed, excused, survived."""
    file, began, fates = Path("curvelab", f"{room}.py"), time.monotonic(), Counter()
    source = file.read_text(encoding="utf-8")
    Path(importlib.util.cache_from_source(str(file))).unlink()  # a fault may be as old and as long as the source
    if not passes(room):
        sys.exit(f"the tests of {room} fail without any fault: mend them first")
    keys = [re.escape(key.strip()).replace("…", ".*") for some in EXCUSED.values() for key in re.split(r" \| |\n", some)]
    faults = mutants(room, source)
    for name, line, changed in faults[:count]:
        file.write_text(changed, encoding="utf-8")
        fate = "noticed" if not passes(room) else "excused" if re.fullmatch("|".join(filter(None, keys)), name) else "survived"
        fates[fate] += 1
        if fate == "survived":
            print(f"  line {line}, {name}", flush=True)
    file.write_text(source, encoding="utf-8")
    counts = [len(faults), fates.total(), *(fates[fate] for fate in ("noticed", "excused", "survived")), f"{time.monotonic() - began:.0f} s"]
    return f"| {room} | {' | '.join(map(str, counts))} |"


if __name__ == "__main__":
    number, *asked = sys.argv[1:] if sys.argv[1:2] and sys.argv[1].isdigit() else ["60", *sys.argv[1:]]
    with tempfile.TemporaryDirectory() as copy:
        prepare(Path(copy))
        for each in asked or ROOMS:
            print(attempt(each, int(number)), flush=True)
