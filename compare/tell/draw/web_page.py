"""What all pages share: their policy, their mark, and data for their scripts.

A page is one file that somebody opens from a disk or a mail: nothing is fetched, and nothing runs but the
style sheet and the script we put in ourselves (Content Security Policy Level 3, W3C, 6.7.2.4: hashes). Names
from specs, photos and manifests can do nothing then, even if one of them were ever written without escaping.
"""

import base64
import hashlib
import json

from markupsafe import Markup


def page_head(kind: str, *, style: str, script: str = "") -> Markup:
    """Return the elements that stand first in a page's head.

    Parameters
    ----------
    kind : of page, for its mark (`compare.tell.result_files`).
    style, script : text of the page's only style element, and of its only script element ("" = none).
    """
    policy = "; ".join(
        (
            "default-src 'none'",
            "img-src data:",
            f"style-src '{_hash(style)}'",
            f"script-src '{_hash(script)}'" if script else "script-src 'none'",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
    head = Markup(
        '<meta charset="utf-8">\n<meta http-equiv="Content-Security-Policy" content="{}">\n'
        '<meta name="generator" content="{}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
    )
    return head.format(policy, f"foldgauge: {kind}")


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"


def script_data(data: object) -> Markup:
    """Return data as JSON that can stand inside a script element, whatever the texts in it.

    Only "<" can end or open anything there (HTML Standard, 13.1.2.1 and 4.12.1.3); U+2028 and U+2029 end a
    line in older script languages.
    """
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)
