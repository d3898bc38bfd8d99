"""What an error says to do, taken out of its text, so that tests can do it."""

from __future__ import annotations

import ast
import re

_VALUE = r"(?:range\(\d+, \d+\)|\{[^{}]*\}|\([^()]*\)|\"[^\"]*\"|True|False)"
_SETTING = rf"[a-z_]+={_VALUE}"
_SITE = r"site=Site\([-\d., ]+\)"
_CALL = rf"(?:{_SITE}|{_SETTING})(?:, {_SETTING})*"


def cures_in(text: str) -> list[dict[str, object]]:
    """Find every set of arguments that an error tells to give, in its order.

    Ranges are left out where something else is told: they are for those who know better.
    """
    found = []
    for said in re.findall(rf"(?<![\w.\"(])({_CALL})", text):
        call = ast.parse(f"f({said})", mode="eval").body
        assert isinstance(call, ast.Call)
        found.append({str(k.arg): _value(k.value) for k in call.keywords})
    return found


def _value(node: ast.expr) -> object:
    if isinstance(node, ast.Call):
        from soilwater import Site

        made = range if ast.unparse(node.func) == "range" else Site
        return made(*(ast.literal_eval(argument) for argument in node.args))
    return ast.literal_eval(node)
