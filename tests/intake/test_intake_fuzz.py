"""A short run of the mutation fuzzer over every format (tests/bench/fuzz.py runs it at length)."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import mutate

CASES = 50
HEAVY = {"every command": 20, "a practice drive": 12, "events of a log": 30}  # each runs many commands


@pytest.fixture(scope="module")
def formats(tmp_path_factory):
    return mutate.formats(mutate.new_folder(tmp_path_factory.mktemp("seeds") / "drive"))


@pytest.mark.parametrize(
    "name",
    [
        "drive.toml", "readings", "map", "shots", "feed", "observations", "control", "LandXML", "export",
        "events of a log", "a practice drive", "ranges of a study", "every command",
        "export, unpacked",
    ],
)  # fmt: skip
def test_no_mutant_gets_past_a_refusal(tmp_path, formats, name):
    seeds, take = formats[name]
    folder = mutate.new_folder(tmp_path / "drive")
    for seed in seeds:
        take(folder, seed)  # what is not mutated is taken
    cases = HEAVY.get(name, CASES)
    results = [mutate.one_case(folder, name, seeds, take, seed) for seed in range(cases)]
    assert results.count("refused") > cases // 4  # the mutants do reach the checks
