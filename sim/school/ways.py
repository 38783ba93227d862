"""Every registered way of working, and how one is driven."""

from sim.school import ways_iron, ways_reading
from sim.school.way import WAYS as WAYS
from sim.school.way import Act as Act
from sim.school.way import Eyes as Eyes
from sim.school.way import Spoken as Spoken
from sim.school.way import Take as Take
from sim.school.way import acts as acts
from sim.school.way import work as work

MODULES = (ways_reading, ways_iron)
"""Modules whose ways are registered."""
