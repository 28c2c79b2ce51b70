"""One thread for linear algebra: two test processes on two cores would otherwise fight for them."""

import os

for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(name, "1")

collect_ignore = ["conftest.py"]  # there are two, and doctest would import both by one name
