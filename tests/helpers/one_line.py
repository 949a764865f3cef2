"""What every refusal is: one line of plain text, of a length a person reads."""

from capture.errors import FoldgaugeError
from compare.tell.words.option_names import COMMAND_LINE

LONGEST = 700


def assert_one_line(err: FoldgaugeError) -> None:
    for told in (str(err), err.told(COMMAND_LINE)):
        assert 10 < len(told) < LONGEST, told
        assert "\n" not in told and "\r" not in told, told
