"""For the tests: every output of a cell that nbval has run is compared, its pictures too, which nbval skips; pictures coarsely, by `normalise.same`."""
import nbformat
import pytest
from nbformat import v4
from nbval.plugin import IPyNbCell

from tests import normalise

collect_ignore = ["conftest.py"]  # as in tests/conftest.py


def as_text(outputs):
    """A notebook of nothing but these outputs, without what changes from run to run."""
    cell = v4.new_code_cell(execution_count=1, outputs=nbformat.from_dict(outputs))
    return nbformat.writes(normalise.tidied(v4.new_notebook(cells=[cell])))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item):
    """After nbval's own comparison."""
    result = yield
    if isinstance(item, IPyNbCell):
        assert normalise.same(as_text(item.cell.outputs), as_text(item.test_outputs)), "run tests/normalise.py"
    return result
