"""The list of what stands from memory is current, and misses no marked line."""

import re
import runpy
from pathlib import Path

SCRIPT = runpy.run_path(str(Path(__file__).with_name("from_memory.py")))


def test_the_page_is_current():
    assert SCRIPT["PAGE"].read_text("utf-8") == SCRIPT["page"](), (
        "run python tests/faces/from_memory.py"
    )


def test_a_marked_value_is_found_with_its_part_and_its_sentence():
    toml = 'id = "a"\nwidth = { value = 2.0, source = "typical, from memory" }\n'
    assert SCRIPT["_toml"](toml) == ['a: width = { value = 2.0, source = "typical, from memory" }']
    code = 'LIMIT_W = 3.0\n"""Of a lamp (handbook; from\nmemory)."""\n'
    (found,) = SCRIPT["_python"](code)
    assert found.startswith("LIMIT_W: LIMIT_W = 3.0") and re.search("from memory", found)
