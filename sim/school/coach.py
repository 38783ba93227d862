"""The coach: one remark a round at most, from prints and strokes alone; what the iron says waits for the finish."""

from collections.abc import Sequence

from sim.school.finish import at_finish
from sim.school.print_rules import PRINT_RULES
from sim.school.remark import Found, Rule
from sim.school.remark import Remark as Remark
from sim.school.seen import RoundSeen, Seen
from sim.school.stroke_rules import STROKE_RULES
from sim.shop.job import Job

RULES: tuple[Rule, ...] = (*PRINT_RULES, *STROKE_RULES)
PRAISE_APART = 4  # rounds between two praises: common practice, no source
LONGEST_PAUSE = 8  # rounds: common practice, no source
BACK = 3  # rounds that are gone back to find the figure before: one may have none


class Coach:
    """Speaks when a figure leaves its band twice running, never of the same rule two rounds running.

    A rule that has spoken keeps quiet for a round, and twice as long each time after.

    Attributes
    ----------
    said : dict
        Round to remark, or to None where it kept silent; asked again for a round, it says the same.
    """

    def __init__(self, rules: Sequence[Rule] = RULES) -> None:
        self.rules = tuple(rules)
        self.said: dict[int, Remark | None] = {}

    def at_round(self, seen: Seen) -> Remark | None:
        """What is to be said at the end of the last round, when its strokes are made: one remark or nothing.

        Of several faults the one with most at stake is told; praise only where no fault is.
        """
        rounds = seen.rounds
        if not rounds:
            return None
        number = rounds[-1].number
        self.said = {one: remark for one, remark in self.said.items() if one <= number}
        if number not in self.said:
            self.said[number] = self._remark([one for one in rounds if one.face == rounds[-1].face])
        return self.said[number]

    def _remark(self, rounds: list[RoundSeen]) -> Remark | None:
        faults: list[Remark] = []
        praises: list[Remark] = []
        for rule in self.rules:
            found = speaks(rule, rounds) if not self._pauses(rule, rounds[-1].number) else None
            if found is not None:
                (praises if rule.praise else faults).append(rule.remark(found))
        if faults:
            return max(faults, key=lambda remark: remark.at_stake_um)
        lately = {one.number for one in rounds[-PRAISE_APART:]}
        praised = any(said and said.praise for number, said in self.said.items() if number in lately)
        return praises[0] if praises and not praised else None

    def _pauses(self, rule: Rule, number: int) -> bool:
        """True while a rule keeps quiet after it spoke: for one round, and for twice as long each time after."""
        spoken = [one for one, remark in self.said.items() if remark is not None and remark.rule == rule.name]
        return bool(spoken) and number - max(spoken) <= min(2 ** (len(spoken) - 1), LONGEST_PAUSE)

    def at_finish(self, seen: Seen, job: Job) -> list[Remark]:
        """What the iron says, once the face is uncovered: worst first."""
        return at_finish(seen, job)


def speaks(rule: Rule, rounds: Sequence[RoundSeen]) -> Found | None:
    """What a rule found in the last round, when its figure is out of its band there and was the time before."""
    found = rule.look(rounds)
    if found is None or not found.out or rule.at_once:
        return found if found is not None and found.out else None
    for back in range(1, min(BACK, len(rounds) - 1) + 1):
        earlier = rule.look(rounds[:-back])
        if earlier is not None:
            return found if earlier.out else None
    return None
