"""Every benchmark, with the machine and the versions: python tests/benchmarks/all.py"""

import platform
import runpy
import sys
from importlib.metadata import version
from pathlib import Path

if __name__ == "__main__":
    print(f"Python {platform.python_version()}, {platform.machine()}, " + ", ".join(f"{name} {version(name)}" for name in ("numpy", "matplotlib", "scipy")))
    for path in sorted(Path(__file__).parent.glob("bench_*.py"), key=lambda path: ("page" in path.name, path)):  # the browser last
        print(f"\n{path.name}")
        sys.argv = [str(path)]
        runpy.run_path(str(path), run_name="__main__")
