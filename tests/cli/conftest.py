"""A command as a user meets it: what it tells on success, and its one line when it refuses."""

import json

import pytest

from sim.cli import main


@pytest.fixture
def told(capsys, request):
    """Run the module's COMMAND, which should succeed with --json: the object, and nothing else said."""

    def told(*words):
        assert main([request.module.COMMAND, *words, "--json"]) == 0
        out, err = capsys.readouterr()
        assert err == ""
        assert out.count("\n") == 1
        return json.loads(out)

    return told


@pytest.fixture
def refused(capsys, request):
    """Run the module's COMMAND, which should be refused: its one line."""

    def refused(*words):
        assert main([request.module.COMMAND, *words]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert err.count("\n") == 1
        return err

    return refused
