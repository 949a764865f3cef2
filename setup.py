"""Build step: the wheel carries the photo and spec of `foldgauge demo`, which live in sample_images."""

from pathlib import Path
from shutil import copyfile

from setuptools import setup
from setuptools.command.build_py import build_py

DEMO_FILES = ("short_leg.jpg", "short_leg.toml")


class BuildWithDemo(build_py):
    """The usual build, plus two files copied into compare/demo_data (the repository has no second copy)."""

    def run(self) -> None:
        """Build, then copy; an editable install reads the files where they are."""
        super().run()
        if self.editable_mode:
            return
        target = Path(self.build_lib, "compare", "demo_data")
        target.mkdir(parents=True, exist_ok=True)
        for name in DEMO_FILES:
            copyfile(Path(__file__).parent / "sample_images" / name, target / name)


setup(cmdclass={"build_py": BuildWithDemo})
