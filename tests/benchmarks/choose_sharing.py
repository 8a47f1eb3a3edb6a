"""What candidates of one motion save by sharing it, side by side with each run alone; run by hand.

Prints the ratio of processor times over a few groups of the example, at the trials given
(10,000 each if none are), and what that makes of 2,000 candidates on two cores.
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from gatesim.studies.choice.candidate import candidates
from gatesim.studies.choice.evaluate import Round, evaluate, groups_of
from gatesim.studies.choice.model import load_choice

EXAMPLE = Path(__file__).parents[2] / "scenarios" / "choose" / "rungs.toml"


def seconds(groups, given, round_):
    start = time.process_time()
    for group in groups:
        evaluate(group, given, round_)
    return time.process_time() - start


def main() -> None:
    given, round_ = load_choice(EXAMPLE), Round(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000, 1)
    groups = groups_of(candidates(given))
    print(f"{'group':60}{'together / s':>14}{'alone / s':>12}{'ratio':>8}")
    total, count = 0.0, 0
    for group in groups[:: max(len(groups) // 8, 1)]:
        together, alone = seconds([group], given, round_), seconds([[c] for c in group], given, round_)
        total, count = total + together, count + len(group)
        print(f"{group[0].name[:58]:60}{together:14.2f}{alone:12.2f}{alone / together:8.1f}")
    print(f"2,000 such candidates on two cores, shared: {total / count * 2000 / 2:.0f} s")


if __name__ == "__main__":
    main()
