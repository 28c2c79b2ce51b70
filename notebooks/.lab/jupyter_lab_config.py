"""Open the live page alone, from the top folder: jupyter lab --config=notebooks/.lab/jupyter_lab_config.py"""
import atexit
import shutil
import tempfile
from pathlib import Path

here = Path(__file__).resolve().parent
layout = tempfile.mkdtemp()  # Lab keeps its arrangement of windows here: none is left over, and the user's own stays as it is
atexit.register(shutil.rmtree, layout, ignore_errors=True)


def without_controls(model, **_):
    """Save pictures and texts alone: the kernel that moves the controls will be gone when the notebook is opened again."""
    if model["type"] == "notebook":
        model["content"]["metadata"].pop("widgets", None)
        for output in (output for cell in model["content"]["cells"] for output in cell.get("outputs", [])):
            output.get("data", {}).pop("application/vnd.jupyter.widget-view+json", None)


c = get_config()  # noqa: F821
c.ServerApp.root_dir = str(here.parent.parent)
c.LabApp.default_url = "/doc/tree/notebooks/00_live_demo.ipynb"
c.LabApp.app_settings_dir = str(here)
c.LabApp.workspaces_dir = layout
c.ContentsManager.pre_save_hook = without_controls
