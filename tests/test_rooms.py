"""Which room of the library may import which, how light the library loads, and what the repository holds."""
import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "curvelab", "notebooks", "tests", "data"}

# Room: the rooms that it may import. A room that isn't named here fails.
ROOMS = {
    "numbers": "",
    "quantities": "",
    "units": "quantities",
    "ellipsoid": "numbers",
    "refraction": "numbers",
    "instrument": "numbers",
    "water": "numbers",
    "field_test": "numbers instrument",
    "lake": "numbers",
    "profile": "numbers",
    "ray": "numbers",
    "uncertainty": "numbers",
    "gum": "numbers uncertainty",
    "montecarlo": "numbers uncertainty gum",
    "schema": "",
    "records": "units schema",
    "resolve": "units schema records",
    "sense": "units ellipsoid instrument schema records resolve",
    "parsing": "quantities units schema records sense",
    "fieldbook": "units schema records resolve sense parsing",
    "suspicion": "schema records",
    "privacy": "records fieldbook",
    "sealing": "schema records parsing fieldbook privacy",
    "designs": "numbers units refraction profile records fieldbook",
    "air": "numbers refraction profile ray records",
    "rows": "uncertainty air records",
    "priors": "units instrument uncertainty air schema records rows",
    "observation": "units ellipsoid refraction water uncertainty ray air schema records resolve rows priors",
    "leastsquares": "rows",
    "determinacy": "records resolve rows leastsquares",
    "adjustment": "refraction uncertainty air records resolve fieldbook sealing rows priors observation leastsquares determinacy",
    "starter": "records fieldbook suspicion adjustment",
    "prediction": "numbers air resolve rows leastsquares adjustment",
    "diagnosis": "refraction gum air resolve rows adjustment",
    "wording": "units instrument uncertainty diagnosis",
    "remarks": "refraction air resolve suspicion sealing adjustment diagnosis wording",
    "decision": "refraction uncertainty records fieldbook adjustment diagnosis remarks wording",
    "sceptic": "units refraction uncertainty records resolve fieldbook rows adjustment prediction diagnosis decision wording",
    "planning": "refraction instrument lake uncertainty air records fieldbook sealing adjustment prediction remarks decision wording",
    "actions": "units air records resolve fieldbook designs adjustment planning",
    "maps": "numbers uncertainty records adjustment planning",
    "simulation": "units refraction uncertainty air records fieldbook rows priors observation adjustment planning",
    "drawing": "",
    "figures": "drawing uncertainty",
    "stamps": "",
    "controls": "units",
    "page": "drawing figures stamps controls",
    "triptych": "adjustment prediction decision drawing figures page",
    "panels": "units air remarks refraction uncertainty profile drawing controls page triptych records fieldbook designs adjustment prediction wording decision sceptic planning",
    "sceptic_page": "drawing figures controls page records fieldbook adjustment decision sceptic planning",
    "rays_page": "refraction ray air drawing figures controls page",
    "photo": "numbers uncertainty records fieldbook",
    "photo_page": "drawing figures controls page photo",
    "pages": "units records figures",
    "paper": "numbers units schema refraction lake uncertainty air records adjustment prediction decision sceptic planning drawing figures pages",
    "publishing": "refraction records fieldbook privacy adjustment decision paper",
    "exercises": "units ellipsoid refraction instrument water uncertainty gum decision",
    "mystery": "designs records fieldbook sealing adjustment decision planning simulation",
    "__init__": "",
}
# Third party: the rooms that may import it, None for all of them. Anything else is refused.
LIBRARIES = {"numpy": None, "pyproj": {"ellipsoid"}, "matplotlib": {"drawing", "figures", "stamps", "page", "triptych", "rays_page", "sceptic_page", "photo_page", "pages", "paper"},
             "ipywidgets": {"controls", "page", "panels", "sceptic_page", "photo_page"}, "traitlets": {"controls"}, "PIL": {"photo_page"}, "nbformat": {"publishing"}, "nbclient": {"publishing"}}
ONLY_WHEN_USED = {"pyproj"}
MACHINE_PATH = re.compile(r"(?:^|[^\w.~/-])/(?:work|tmp|root|farm|home|Users)/\w", re.MULTILINE)


def imports(tree):
    """(room or library, whether it is one of our own rooms, whether inside a function) for each import."""
    inside = {id(node) for function in ast.walk(tree) if isinstance(function, ast.FunctionDef | ast.Lambda)
              for node in ast.walk(function)}
    never_run = {id(node) for test in ast.walk(tree) if isinstance(test, ast.If) and getattr(test.test, "id", "") == "TYPE_CHECKING"
                 for node in ast.walk(test)}
    for node in ast.walk(tree):
        if id(node) in never_run:
            continue
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name.split(".") for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            module = (["curvelab"] if node.level else []) + (node.module or "").split(".") * bool(node.module)
            names = [module] if module != ["curvelab"] else [[*module, alias.name] for alias in node.names]
        for first, *rest in names:
            own = first == "curvelab"
            yield (rest[0] if own and rest else first), own, id(node) in inside


def complaints(room, source):
    """What is wrong with the imports of a room, in words."""
    if room not in ROOMS:
        return [f"{room} is no known room: name it in ROOMS, with what it may import"]
    found = []
    for name, own, late in imports(ast.parse(source)):
        if own:
            if name not in ROOMS[room].split():
                found.append(f"{room} may not import {name}")
        elif name == "importlib" and room != "__init__":
            found.append(f"{room} may not import {name}: only the package itself loads rooms by name")
        elif name not in sys.stdlib_module_names:
            if name not in LIBRARIES or room not in (LIBRARIES[name] or ROOMS):
                found.append(f"{room} may not import {name}")
            elif name in ONLY_WHEN_USED and not late:
                found.append(f"{room} may import {name} only inside a function")
    return found


@pytest.mark.parametrize("path", sorted((ROOT / "curvelab").rglob("*.py")), ids=lambda path: path.stem)
def test_a_room_imports_only_what_it_may(path):
    assert complaints(path.stem, path.read_text(encoding="utf-8")) == []


def test_every_room_named_here_is_there():
    assert set(ROOMS) == {path.stem for path in (ROOT / "curvelab").glob("*.py")}


def test_the_arrows_point_one_way():
    above = set()
    for room, may_import in ROOMS.items():
        assert set(may_import.split()) <= above, room
        above.add(room)


@pytest.mark.parametrize("room, source, words", [
    ("units", "from . import ellipsoid", "may not import ellipsoid"),
    ("units", "from .ellipsoid import mean_radius", "may not import ellipsoid"),
    ("units", "from curvelab import ellipsoid", "may not import ellipsoid"),
    ("units", "from curvelab.ellipsoid import mean_radius", "may not import ellipsoid"),
    ("units", "import curvelab.ellipsoid as e", "may not import ellipsoid"),
    ("units", "import curvelab", "may not import curvelab"),
    ("units", "def f():\n    from . import ellipsoid", "may not import ellipsoid"),
    ("figures", "from .adjustment import Result", "may not import adjustment"),
    ("ellipsoid", "import pyproj", "only inside a function"),
    ("ellipsoid", "from pyproj import Geod", "only inside a function"),
    ("water", "def f():\n    import pyproj", "may not import pyproj"),
    ("planning", "import matplotlib.pyplot as plt", "may not import matplotlib"),
    ("figures", "import ipywidgets", "may not import ipywidgets"),
    ("adjustment", "import scipy.stats", "may not import scipy"),
    ("adjustment", "import importlib", "only the package itself"),
    ("cellar", "", "no known room"),
])
def test_a_wrong_import_is_reported(room, source, words):
    found = complaints(room, source)
    assert len(found) == 1 and words in found[0]


def test_right_imports_are_not_reported():
    source = "import math\nimport numpy as np\nfrom . import numbers\ndef f():\n    from pyproj import Geod"
    assert complaints("ellipsoid", source) == []


def test_importing_the_library_loads_nothing_heavy():
    code = "import sys, curvelab; print(*sorted({name.partition('.')[0] for name in sys.modules}))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "curvelab" in loaded
    assert loaded & {"pyproj", "matplotlib", "ipywidgets", "IPython", "scipy"} == set()


@pytest.fixture(scope="module")
def kept():
    """Paths, relative to the root, of all that git keeps or would keep."""
    if not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    names = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout.split("\0")
    return [Path(name) for name in names if name and (ROOT / name).is_file()]


def test_the_top_level_holds_what_was_agreed(kept):
    assert {path.parts[0] for path in kept if not path.parts[0].startswith(".")} == TOP_LEVEL


def test_no_kept_file_names_a_place_on_one_machine(kept):
    found = []
    for path in kept:
        try:
            text = (ROOT / path).read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        found += [f"{path}: {match[0].strip()!r}" for match in MACHINE_PATH.finditer(text)]
    assert found == []


@pytest.mark.parametrize("before", ["", " ", "'", '"', "=", "(", "\n"])
def test_a_place_on_one_machine_is_seen(before):
    place = "/".join(["", "home", "someone"])
    assert MACHINE_PATH.search(before + place)


@pytest.mark.parametrize("text", ["https://example.org/home/map", "../data/tmp/x", "notebooks/work/x", "~/work/x"])
def test_other_slashes_are_let_through(text):
    assert not MACHINE_PATH.search(text)
