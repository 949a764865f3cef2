"""How a check is told to the ledger: as `foldgauge check --json` prints it, or why it could not be made."""

from typing import Final

from compare.lot.run.checking import Telling
from compare.tell.check.check_json import inspection_dict
from compare.tell.words.option_names import error_line

TO_LEDGER: Final = Telling(result=inspection_dict, refusal=error_line)
