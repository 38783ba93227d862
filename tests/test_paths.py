"""The project's own folders are found in a checkout and in an installed copy; the user's follow the environment."""

import pytest

from sim import paths
from sim.errors import BadFile


@pytest.fixture
def installed(tmp_path, monkeypatch):
    """The package as if it lay in site-packages, with the copies of a wheel."""
    package = tmp_path / "site-packages" / "sim"
    (package / "_data" / "lessons").mkdir(parents=True)
    monkeypatch.setattr(paths, "_PACKAGE", package)
    return package


def test_in_a_checkout_the_folders_at_the_top_are_used():
    assert (paths.lessons() / "README.md").is_file()
    assert (paths.assets() / "README.md").is_file()
    assert paths.lessons().parent == paths._PACKAGE.parent


def test_the_checkout_comes_before_a_copy_left_by_an_install(installed):
    checkout = installed.parent
    (checkout / "lessons").mkdir()
    assert paths.lessons() == installed / "_data" / "lessons", "a folder beside the package is no checkout by itself"
    (checkout / "pyproject.toml").touch()
    assert paths.lessons() == checkout / "lessons"


def test_a_missing_folder_of_ours_is_said_in_one_line(installed):
    with pytest.raises(BadFile, match=r"the folder assets/ of flatwright is missing; install flatwright again"):
        paths.assets()


def test_the_users_folders_follow_option_then_environment_then_the_system(monkeypatch, tmp_path):
    for name in ("FLATWRIGHT_DATA", "FLATWRIGHT_CACHE"):
        monkeypatch.delenv(name, raising=False)
    assert paths.data_dir().name == paths.cache_dir().name == "flatwright"
    assert paths.data_dir() != paths.cache_dir()
    monkeypatch.setenv("FLATWRIGHT_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("FLATWRIGHT_CACHE", str(tmp_path / "cache"))
    assert paths.data_dir() == tmp_path / "data"
    assert paths.data_dir(str(tmp_path / "chosen")) == tmp_path / "chosen"
    assert paths.cache_dir() == tmp_path / "cache"
    assert not list(tmp_path.iterdir()), "asking makes nothing"
