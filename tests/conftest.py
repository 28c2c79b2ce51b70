"""One thread for linear algebra: two test processes on two cores would otherwise fight for them. All outputs of notebooks compared."""

import os

for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(name, "1")


def pytest_configure(config):
    """The cells that nbval runs lie outside this folder, so its hook is given to all."""
    from tests import all_outputs  # after the threads are set

    config.pluginmanager.register(all_outputs)
