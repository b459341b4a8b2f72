"""The pairing screen: a code becomes a key in a cookie."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from pitlogger.errors import UsageError
from pitlogger.web.access.access import Access
from pitlogger.web.access.gate import cookie_name
from pitlogger.web.access.keyring import SLIDES_MS
from pitlogger.web.page.forms import parse_form
from pitlogger.web.page.render import render

WRONG = "That code is wrong or used up. Codes are good for ten minutes; ask for a new one."


def make_pairing(access: Access, node: str) -> APIRouter:
    """Return the routes of the pairing screen."""
    page = APIRouter(include_in_schema=False)

    def screen(
        request: Request, fault: str = "", status: int = 200, form: dict[str, str] | None = None
    ) -> HTMLResponse:
        secure = request.scope.get("scheme") == "https"
        text = render("pair.html", node=node, fault=fault, secure=secure, form=form or {})
        return HTMLResponse(text, status, headers={"Cache-Control": "no-store"})

    @page.get("/pair")
    async def ask(request: Request) -> HTMLResponse:
        return screen(request)

    @page.post("/pair")
    async def pair(request: Request) -> Response:
        try:
            form = parse_form(await request.body())
        except UsageError as fault:
            return screen(request, str(fault), 400)
        made = access.pair(form.get("code", ""), form.get("name", ""), form.get("by", ""))
        if made is None:
            return screen(request, WRONG, 403, form)
        answer = RedirectResponse("/", 303)
        set_cookie(answer, request, made[1])
        return answer

    return page


def set_cookie(answer: Response, request: Request, key: str) -> None:
    """Give a phone its key: no script reads it, no other site sends it."""
    answer.set_cookie(
        cookie_name(dict(request.scope)),
        key,
        max_age=SLIDES_MS // 1000,
        path="/",
        httponly=True,
        samesite="strict",
        secure=request.scope.get("scheme") == "https",
    )
