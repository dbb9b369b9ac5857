"""Map the two source folders onto one package; setuptools' own discovery cannot express it."""

from setuptools import find_packages, setup

setup(
    packages=find_packages(include=["shopmon", "shopmon.*"])
    + ["shopmon.dashboards"]
    + [f"shopmon.dashboards.{name}" for name in find_packages("dashboards")],
    package_dir={"shopmon": "shopmon", "shopmon.dashboards": "dashboards"},
)
