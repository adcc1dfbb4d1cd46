"""Every notebook is stored without outputs and runs from top to bottom, without a warning, in this environment."""

import os
import sys
from pathlib import Path

import nbformat
import pytest

from tests.how_many import ALL_SAMPLES

# The kernel client and its event loop warn in ways that change with their versions and say nothing of our code;
# what a notebook itself warns of is looked for on its standard error.
pytestmark = pytest.mark.filterwarnings("default")

ROOT = Path(__file__).parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
# Those that plan a large sample again and again run with CASTINGVOTE_SAMPLES=all.
LONG = ("plan_a_fleet", "price_of_budgets_and_caps")
CHOSEN = [path for path in NOTEBOOKS if ALL_SAMPLES or path.stem not in LONG]


def test_there_are_notebooks():
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_stored_without_outputs(path):
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert not cell.outputs
            assert cell.execution_count is None
    assert set(notebook.metadata) <= {"kernelspec", "language_info"}
    assert set(notebook.metadata.language_info) <= {"name"}


@pytest.fixture(scope="module")
def kernel(tmp_path_factory):
    """One kernel of this environment for all notebooks: to start it and load all libraries takes longer than most."""
    from jupyter_client.manager import KernelManager

    own = str(tmp_path_factory.mktemp("notebooks"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]))
        patch.setenv("TMPDIR", own)
        patch.setenv("IPYTHONDIR", own)
        # The kernel of this environment comes before one of the same name that the user has installed.
        patch.setenv("JUPYTER_PATH", str(Path(sys.prefix) / "share" / "jupyter"))
        manager = KernelManager(kernel_name="python3")
        manager.start_kernel(cwd=str(ROOT / "notebooks"))
        yield manager
        manager.shutdown_kernel(now=True)


@pytest.mark.parametrize("path", CHOSEN, ids=lambda path: path.stem)
def test_runs_without_an_error_or_a_warning(path, kernel):
    from nbclient import NotebookClient

    notebook = nbformat.read(path, as_version=4)
    notebook.cells.insert(0, nbformat.v4.new_code_cell("%reset -f"))  # as in a kernel of its own: no names yet
    client = NotebookClient(notebook, km=kernel, timeout=120)
    try:
        client.execute()
    finally:
        client.kc.stop_channels()
    outputs = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    assert outputs
    assert [output.text for output in outputs if output.get("name") == "stderr"] == []


def test_three_frames_become_a_plan_with_plots_tables_and_files_in_25_lines():
    notebook = nbformat.read(ROOT / "notebooks" / "three_frames_to_a_plan.ipynb", as_version=4)
    code = "\n".join(cell.source for cell in notebook.cells if cell.cell_type == "code")
    lines = [line for line in code.splitlines() if line.strip()]
    assert len(lines) <= 25
    assert not {"read_fleet", "read_csv", "read_excel"} & set(code.replace("(", " ").replace(".", " ").split())
    assert {"plot_map", "assignments_frame", "write_workbook", "to_csv"} <= set(
        code.replace("(", " ").replace(".", " ").replace("[", " ").split()
    )
