"""The headers that tell a browser what it may do with an answer."""

import gzip
import re
from base64 import b64encode
from dataclasses import dataclass
from hashlib import sha256

from fastapi import Request, Response

# No policy of ours lets anything be loaded or run that is not named in it, or be put into another page.
_NOTHING_ELSE = "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
# In every answer, where the answer has no other of the same name. A referrer is kept for ourselves and not
# left out altogether, as a form is then sent with “Origin: null” (Fetch, section 3.2). Sources: CSP Level 3;
# Fetch, sections 3.6 (nosniff) and 3.7 (Cross-Origin-Resource-Policy); Referrer Policy, section 3.3;
# RFC 7034, for browsers that are older than frame-ancestors.
SECURITY_HEADERS = {
    "x-content-type-options": "nosniff",
    "cache-control": "no-store",
    "content-security-policy": f"default-src 'none'; {_NOTHING_ELSE}",
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "same-origin",
    "x-frame-options": "DENY",
}
# Less than this grows by being compressed.
_SMALL_BYTES = 500
_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)


@dataclass(frozen=True, kw_only=True, slots=True)
class WholePage:
    """A page that stands alone, as it is kept to be sent again and again: compressed, and with its policy."""

    packed: bytes
    policy: str


def whole_page(html: str) -> WholePage:
    """Make a page ready to be sent that loads nothing, runs nothing, and has its styles in it.

    Each style sheet is let in by its own hash, and no other: none that somebody might smuggle into a name.
    Source: CSP Level 3, section 2.3.1, hash-source.
    """
    sheets = (b64encode(sha256(sheet.encode()).digest()).decode() for sheet in _STYLE.findall(html))
    style = "".join(f" 'sha256-{each}'" for each in sheets) or " 'none'"
    policy = f"default-src 'none'; style-src{style}; {_NOTHING_ELSE}"
    return WholePage(packed=gzip.compress(html.encode(), 6, mtime=0), policy=policy)


def answer_with_page(request: Request, page: WholePage) -> Response:
    """Answer with a page that was made ready, compressed where the browser takes it."""
    headers = {"content-security-policy": page.policy, "vary": "accept-encoding"}
    takes = "gzip" in request.headers.get("accept-encoding", "")
    if takes:
        headers["content-encoding"] = "gzip"
    body = page.packed if takes else gzip.decompress(page.packed)
    return Response(body, headers=headers, media_type="text/html; charset=utf-8")


def compressed(request: Request, response: Response, *vary: str) -> Response:
    """Compress an answer where the browser takes it; events are never answered by way of this.

    Args:
        request: says what the browser takes.
        response: an answer that is known whole.
        vary: other headers of the request that it depends on.
    """
    response.headers["vary"] = ", ".join(["accept-encoding", *vary])
    body = bytes(response.body)
    if "gzip" in request.headers.get("accept-encoding", "") and len(body) > _SMALL_BYTES:
        response.body = gzip.compress(body, 6, mtime=0)
        response.headers["content-encoding"] = "gzip"
        response.headers["content-length"] = str(len(response.body))
    return response
