"""The pages around signing in, as they are sent: plain HTML that needs nothing of the board."""

from __future__ import annotations

from flask import Response, render_template

from dashboard.access.addresses import SIGN_IN

POLICY = "; ".join(
    (
        "default-src 'none'",
        "style-src 'self'",
        "script-src 'self'",
        "img-src data:",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
"""What these pages may load and where their forms may go: here and nowhere else."""


def sign_in_page(
    token: str, back_to: str, *, said: str = "", is_wrong: bool = False, name: str = ""
) -> Response:
    """Return the sign-in page.

    Parameters
    ----------
    token : str
        What its form sends back, so that it is known for our own.
    back_to : str
        Where to go after signing in.
    said : str
        What happened, and what to do.
    is_wrong : bool
        Whether that is something wrong.
    name : str
        As it was typed.
    """
    shown = {"token": token, "back_to": back_to, "said": said, "is_wrong": is_wrong, "name": name}
    return _page("sign_in.html", action=SIGN_IN, **shown)


def trouble_page() -> Response:
    """Return what is said while the store does not tell who may sign in.

    Whoever asks may be anybody, so it does not say which store, and why.
    """
    answer = _page("trouble.html")
    answer.status_code = 503
    return answer


def _page(template: str, **values: object) -> Response:
    answer = Response(render_template(template, **values), mimetype="text/html")
    answer.headers["Content-Security-Policy"] = POLICY
    return answer
