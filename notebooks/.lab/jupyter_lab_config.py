"""Open the live page alone, from the top folder: jupyter lab --config=notebooks/.lab/jupyter_lab_config.py"""
import atexit
import shutil
import tempfile
from pathlib import Path

here = Path(__file__).resolve().parent
layout = tempfile.mkdtemp()  # Lab keeps its arrangement of windows here: none is left over, and the user's own stays as it is
atexit.register(shutil.rmtree, layout, ignore_errors=True)

c = get_config()  # noqa: F821
c.ServerApp.root_dir = str(here.parent.parent)
c.LabApp.default_url = "/doc/tree/notebooks/00_live_demo.ipynb"
c.LabApp.app_settings_dir = str(here)
c.LabApp.workspaces_dir = layout
