"""One blank: from boards on it to programs, in the order in which the questions arise.

`cuts` says what is to be cut, unsplit; `passes` shares it among passes and makes the programs.
"""

from millprep.one_blank.shared import Passes, passes
from millprep.one_blank.whole import Cuts, cuts

__all__ = ["Cuts", "Passes", "cuts", "passes"]
