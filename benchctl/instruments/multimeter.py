"""The multimeter: it measures at points that the bench file names."""

from __future__ import annotations

from collections.abc import Mapping

from benchctl.documents.bench_file.multimeter import Point
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.templates import Value
from benchctl.documents.driver_file.multimeter import MultimeterDriver
from benchctl.instruments.role import Role
from benchctl.instruments.session import Session


class Multimeter(Role):
    """`points` are those of the bench file. Where it has no scanner, a person has put its leads to the point before."""

    def __init__(self, session: Session, driver: MultimeterDriver, points: Mapping[str, Point]) -> None:
        super().__init__(session, driver)
        self._words = driver.commands
        self.points = dict(points)

    def _set_mode(self) -> None:
        self._say(self._words.prepare)

    def measure(self, name: str) -> float:
        """What a point has now: V, ohm or degC. An overload or an open sensor is an error, never a number."""
        return self._ask_number(self.question_for(name), **self.values_for(name))

    def question_for(self, name: str) -> Query:
        """What is asked for what a point has; empty where the multimeter does not measure that."""
        return self._words.measure(self.points[name].measures)

    def values_for(self, name: str) -> dict[str, Value]:
        """What a question about a point may take."""
        point = self.points[name]
        return {"channel": point.channel or 0, "range_v": point.full_scale, "range_ohm": point.full_scale}
