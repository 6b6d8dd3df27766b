"""Every reason that the package's code can make, read from its source: code, kind, and what its texts can be.

What varies in a text, such as a name or a number, is an ellipsis. `python tests/reason_texts.py` writes the page that
lists them, daemon/keyturn/shop/reasons.md.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from itertools import product
from pathlib import Path

PACKAGE = Path(__file__).parent.parent / "daemon" / "keyturn"
PAGE = PACKAGE / "shop" / "reasons.md"
VARIES = "…"
MAKERS = {"refuse": "refused", "mended": "mended", "note": "noted", "Fault": "noted or refused"}
LINES_TO_PASTE = "keyturn.manifest.lines_to_paste"
MOST_TEXTS = 24
"""Of one field of one reason, so many texts are told apart."""

DEEPEST = 7


LIBRARY_WORDS = re.compile(
    r"Input should|valid (?:tuple|string|integer|dictionary)|\(at line|column \d|\bNone\b|\btuple\b|\bdict\b|\bstr\b"
    r"|\bint\b|\bfloat\b|\bbool\b|[a-z]Error\b|Exception|Traceback|pydantic|[Pp]illow|\bPIL\b|pyvips|libvips|tomllib"
    r"|numpy|errno|Errno|compression \d|0x[0-9a-f]|<class|object at"
)
"""What pydantic, tomllib, Pillow, libvips, zipfile and Python itself write, and names of classes."""


def sentences(text: str) -> list[str]:
    return [each for each in re.split(r"[.!?](?=\s+[A-Z]|\s*$)", text) if each.strip()]


Place = tuple[ast.AST, Sequence[ast.expr]]


@dataclass(frozen=True)
class Made:
    """One place where a reason is made.

    `at` is the function with the expressions of its texts, `handed_in` those of the calls of that function.
    """

    code: str
    kind: str
    where: str
    what: tuple[str, ...]
    mend: tuple[str, ...]
    at: Place
    handed_in: tuple[Place, ...]


@dataclass
class Module:
    name: str
    path: Path
    tree: ast.Module = field(init=False)

    def __post_init__(self) -> None:
        self.tree = ast.parse(self.path.read_text(encoding="utf-8"))

    @cached_property
    def constants(self) -> dict[str, ast.expr]:
        found: dict[str, ast.expr] = {}
        for node in self.tree.body:
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                found[node.targets[0].id] = node.value
            elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name) and node.value:
                found[node.target.id] = node.value
        return found

    @cached_property
    def functions(self) -> dict[str, ast.FunctionDef]:
        return {node.name: node for node in ast.walk(self.tree) if isinstance(node, ast.FunctionDef)}

    @cached_property
    def calls(self) -> dict[str, list[tuple[ast.FunctionDef | None, ast.Call]]]:
        """The calls by the name of what is called, each with the function that it stands in."""
        found: dict[str, list[tuple[ast.FunctionDef | None, ast.Call]]] = {}
        pending: list[tuple[ast.FunctionDef | None, ast.AST]] = [(None, self.tree)]
        while pending:
            inside, node = pending.pop()
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                found.setdefault(node.func.id, []).insert(0, (inside, node))
            within = node if isinstance(node, ast.FunctionDef) else inside
            pending += [(within, child) for child in ast.iter_child_nodes(node)]
        return found

    @cached_property
    def imports(self) -> dict[str, tuple[str, str]]:
        return {
            name.asname or name.name: (node.module, name.name)
            for node in ast.walk(self.tree)
            if isinstance(node, ast.ImportFrom) and node.module
            for name in node.names
        }


class Reader:
    """Reads the texts of all reasons of the package."""

    def __init__(self, package: Path = PACKAGE) -> None:
        self.modules = {}
        for path in sorted(package.rglob("*.py")):
            if "sample_inbox" not in path.parts:
                name = ".".join(("keyturn", *path.relative_to(package).with_suffix("").parts))
                self.modules[name] = Module(name, path)

    def all(self) -> Iterator[Made]:
        for module in self.modules.values():
            yield from self._in(module, module.tree, None)

    def _in(self, module: Module, node: ast.AST, function: ast.FunctionDef | None) -> Iterator[Made]:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Call) and (kind := self._kind(module, child, function)):
                yield from self._made(module, child, kind, function)
            yield from self._in(module, child, child if isinstance(child, ast.FunctionDef) else function)

    def _kind(self, module: Module, call: ast.Call, function: ast.FunctionDef | None) -> str | None:
        """Return what a reason made by `call` does, None where it makes none or passes on one made elsewhere."""
        name = call.func.id if isinstance(call.func, ast.Name) else ""
        if not call.args or isinstance(call.args[0], ast.Attribute):
            return None
        chooses = {
            "refuse",
            "note",
        } <= module.imports.keys() and name not in module.imports.keys() | module.functions.keys()
        if function and chooses and (chosen := _assigned(function, name, call.lineno)):
            named = [n.id for value in chosen[0] for n in ast.walk(value) if isinstance(n, ast.Name)]
            return "refused or noted" if {"refuse", "note"} <= set(named) else None
        source = module.imports.get(name, (module.name, ""))[0]
        return MAKERS.get(name) if source in ("keyturn.shop.reasons", "keyturn.radio.desc_lines") else None

    def _made(self, module: Module, call: ast.Call, kind: str, function: ast.FunctionDef | None) -> Iterator[Made]:
        args = list(call.args)
        if kind == MAKERS["Fault"]:  # code, line, what, mend: keyturn.radio.desc_lines
            del args[1]
        raw = tuple(args[:3])
        callers = self._callers(module, function) if function else []
        handed_in = tuple((inside or other.tree, call.args) for (other, inside), call in callers)
        for scope in self._scopes(module, function, args[0], call.lineno):
            texts = [self._texts(module, arg, function, call.lineno, scope, 0) for arg in raw]
            for code in texts[0]:
                where = f"{module.name}:{call.lineno}"
                what, mend = (_different(each) for each in (texts[1], texts[2] if len(texts) > 2 else [""]))
                yield Made(code, kind, where, what, mend, (function or module.tree, raw), handed_in)

    def _scopes(
        self, module: Module, function: ast.FunctionDef | None, code: ast.expr, line: int
    ) -> list[dict[str, ast.expr]]:
        """Return the values of names where the code is a name: one set for each call, or for each turn of a loop."""
        if not function or not isinstance(code, ast.Name):
            return [{}]
        if code.id in {arg.arg for arg in (*function.args.args, *function.args.kwonlyargs)}:
            return [self._bound(function, call) for _, call in self._callers(module, function)] or [{}]
        for node in _nodes(function):
            if isinstance(node, ast.For) and node.lineno <= line <= (node.end_lineno or 0):
                match node:
                    case ast.For(target=ast.Tuple(elts=names), iter=ast.Tuple(elts=turns)) if code.id in map(
                        ast.unparse, names
                    ):
                        ids = [ast.unparse(name) for name in names]
                        return [dict(zip(ids, turn.elts, strict=True)) for turn in turns if isinstance(turn, ast.Tuple)]
        return [{}]

    # -- the texts that an expression can be --------------------------------------------------------

    def _texts(
        self,
        module: Module,
        node: ast.expr,
        function: ast.FunctionDef | None,
        line: int,
        scope: dict[str, ast.expr],
        depth: int,
    ) -> list[str]:
        if depth > DEEPEST:
            return [VARIES]

        def of(inner: ast.expr) -> list[str]:
            return self._texts(module, inner, function, line, scope, depth + 1)

        match node:
            case ast.Constant():
                return [str(node.value) if isinstance(node.value, str) else VARIES]
            case ast.JoinedStr():
                pieces = [
                    [str(value.value)] if isinstance(value, ast.Constant) else self._varying(value, of)
                    for value in node.values
                ]
                return ["".join(each) for each in _some(pieces)]
            case ast.IfExp():
                return [*of(node.body), *of(node.orelse)]
            case ast.BoolOp():
                return [text for each in node.values for text in of(each)]
            case ast.BinOp(op=ast.Add()):
                return ["".join(each) for each in _some([of(node.left), of(node.right)])]
            case ast.Call(func=ast.Attribute(attr="join"), args=[ast.List() | ast.Tuple() as parts]):
                return [VARIES] if not parts.elts else [", ".join(each) for each in _some([of(e) for e in parts.elts])]
            case ast.Call(func=ast.Attribute(value=ast.Constant(value=str() as text), attr="format")):
                return [text.replace("{}", VARIES)]
            case ast.Call(func=ast.Name(id=name)) if module.imports.get(name, ("", ""))[0] == LINES_TO_PASTE:
                return [f"write in job.toml:\n{text}" for text in of(node.args[-1])]  # the place depends on the job
            case ast.Call(func=ast.Name(id=name)):
                return self._returned(module, name, depth)
            case ast.Name(id=name):
                return self._named(module, name, function, line, scope, depth)
        return [VARIES]

    def _varying(self, value: ast.expr, of: object) -> list[str]:
        inner = value.value if isinstance(value, ast.FormattedValue) else value
        simple = isinstance(inner, ast.Name | ast.IfExp | ast.Call) and not getattr(value, "format_spec", None)
        return of(inner) if simple else [VARIES]  # type: ignore[operator]

    def _named(
        self,
        module: Module,
        name: str,
        function: ast.FunctionDef | None,
        line: int,
        scope: dict[str, ast.expr],
        depth: int,
    ) -> list[str]:
        if name in scope:
            return self._texts(module, scope[name], None, line, {}, depth + 1)
        if function:
            if _loops_over(function, name, line):
                return [VARIES]
            if values := _assigned(function, name, line):
                first, *added = values
                texts = [t for value in first for t in self._texts(module, value, function, line, scope, depth + 1)]
                for value in added:
                    more = [t for each in value for t in self._texts(module, each, function, line, scope, depth + 1)]
                    texts = [*texts, *("".join(each) for each in _some([texts, more]))]
                return texts[:MOST_TEXTS]
            if name in {arg.arg for arg in (*function.args.args, *function.args.kwonlyargs)}:
                callers = self._callers(module, function)
                return [
                    text
                    for (other, inside), call in callers
                    if name in (bound := self._bound(function, call))
                    for text in self._texts(other, bound[name], inside, call.lineno, {}, depth + 1)
                ][:MOST_TEXTS] or [VARIES]
        if name in module.constants:
            return self._texts(module, module.constants[name], None, line, {}, depth + 1)
        if name in module.imports:
            source, real = module.imports[name]
            if source in self.modules and real in self.modules[source].constants:
                other = self.modules[source]
                return self._texts(other, other.constants[real], None, line, {}, depth + 1)
        return [VARIES]

    def _returned(self, module: Module, name: str, depth: int) -> list[str]:
        function, home = module.functions.get(name), module
        if function is None and name in module.imports:
            source, real = module.imports[name]
            home = self.modules.get(source, module)
            function = home.functions.get(real)
        if function is None:
            return [VARIES]
        returns = [node for node in _nodes(function) if isinstance(node, ast.Return) and node.value is not None]
        texts = [t for r in returns if r.value for t in self._texts(home, r.value, function, r.lineno, {}, depth + 2)]
        return texts[:MOST_TEXTS] or [VARIES]

    def _callers(
        self, module: Module, function: ast.FunctionDef
    ) -> list[tuple[tuple[Module, ast.FunctionDef | None], ast.Call]]:
        found = []
        for other in self.modules.values():
            if other is not module and other.imports.get(function.name, ("", ""))[0] != module.name:
                continue
            found += [((other, inside), call) for inside, call in other.calls.get(function.name, ())]
        return found

    def _bound(self, function: ast.FunctionDef, call: ast.Call) -> dict[str, ast.expr]:
        positional = [arg.arg for arg in function.args.args]
        bound = dict(zip(positional, call.args, strict=False))
        bound |= {keyword.arg: keyword.value for keyword in call.keywords if keyword.arg}
        defaults = function.args.defaults
        for name, value in zip(positional[len(positional) - len(defaults) :], defaults, strict=True):
            bound.setdefault(name, value)
        for arg, value in zip(function.args.kwonlyargs, function.args.kw_defaults, strict=True):
            if value is not None:
                bound.setdefault(arg.arg, value)
        return bound


@cache
def _nodes(function: ast.AST) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(function))


def _some(pieces: Sequence[Sequence[str]]) -> list[tuple[str, ...]]:
    """Return combinations of the pieces' texts: each of every piece at least once, not all where there are many."""
    made = []
    for each in product(*pieces):
        made.append(each)
        if len(made) == MOST_TEXTS:
            break
    return made


def _different(texts: Sequence[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(re.sub(f"{VARIES}{{2,}}", VARIES, text) for text in texts))


def _loops_over(function: ast.FunctionDef, name: str, line: int) -> bool:
    """Is `name` what a comprehension around `line` counts through?"""
    return any(
        isinstance(target, ast.Name) and target.id == name
        for node in _nodes(function)
        if isinstance(node, ast.ListComp | ast.GeneratorExp) and node.lineno <= line <= (node.end_lineno or 0)
        for each in node.generators
        for target in ast.walk(each.target)
    )


def _assigned(function: ast.FunctionDef, name: str, line: int) -> list[list[ast.expr]]:
    """Return what `name` is assigned last before `line`, also in the other branch, and what is added to it after."""
    assigned: list[tuple[int, ast.expr]] = []
    added: list[tuple[int, ast.expr]] = []
    for node in _nodes(function):
        if isinstance(node, ast.Assign) and node.lineno <= line:
            for target in node.targets:
                if isinstance(target, ast.Name) and target.id == name:
                    assigned.append((node.lineno, node.value))
                elif isinstance(target, ast.Tuple):
                    for place, each in enumerate(target.elts):
                        if isinstance(each, ast.Name) and each.id == name:
                            whole = isinstance(node.value, ast.Tuple)
                            assigned.append(
                                (node.lineno, node.value.elts[place] if whole else ast.Name("?", ast.Load()))
                            )  # type: ignore[attr-defined]
        elif isinstance(node, ast.NamedExpr) and node.lineno <= line and node.target.id == name:
            assigned.append((node.lineno, node.value))
        elif isinstance(node, ast.AugAssign) and isinstance(node.target, ast.Name) and node.target.id == name:
            added.append((node.lineno, node.value))
    if not assigned:
        return []
    last_line, _ = max(assigned, key=lambda each: each[0])
    branches = [
        node
        for node in _nodes(function)
        if isinstance(node, ast.If) and node.lineno <= last_line <= (node.end_lineno or 0)
    ]
    outer = min((node.lineno for node in branches if line > (node.end_lineno or 0)), default=last_line)
    before = [value for at, value in assigned if at >= outer]
    if outer < last_line and not any(at >= outer and at < last_line for at, _ in assigned):
        before += [value for at, value in assigned if at < outer][-1:]
    return [before, *([value] for at, value in added if last_line < at < line)]


_OUR_OWN = {"Broken"}
"""Exceptions whose text is ours: keyturn.normalize.reading.picture_faults."""


def library_text(made: Made) -> list[str]:
    """Return the names of exceptions in the reason's texts, here or where the texts are handed in: library's words."""
    return sorted(name for function, raw in (made.at, *made.handed_in) for name in _exceptions(function, raw))


def _exceptions(function: ast.AST, raw: Sequence[ast.expr]) -> set[str]:
    caught = {
        node.name
        for node in _nodes(function)
        if isinstance(node, ast.ExceptHandler) and node.name and node.type and ast.unparse(node.type) not in _OUR_OWN
    }
    names = {node.id for each in raw for node in ast.walk(each) if isinstance(node, ast.Name)}
    assigned = {
        inner.id
        for node in _nodes(function)
        if isinstance(node, ast.Assign) and any(isinstance(t, ast.Name) and t.id in names for t in node.targets)
        for inner in ast.walk(node.value)
        if isinstance(inner, ast.Name)
    }
    return caught & (names | assigned)


# -- the page ---------------------------------------------------------------------------------------

_CHAPTERS = {
    "inbox": "Files and zips",
    "manifest": "job.toml",
    "shop": "Radios and the shop",
    "normalize": "Pictures and clips",
    "flatten": "Pictures and clips",
    "renumber": "Parts, order and rate",
    "package": "The animation",
    "judge": "The animation",
    "pipeline": "The animation",
    "workers": "While it is made",
    "service": "While it is made",
    "radio": "What a radio makes of an archive (keyturn inspect, and a ready-made bootanimation.zip)",
    "calibrate": "Films of starts (keyturn calibrate)",
    "commands": "Commands",
}


def page(every: Sequence[Made]) -> str:
    """Return the page of all codes as Markdown."""
    lines = [
        "# Every reason",
        "",
        "Written by `python tests/reason_texts.py` from the source: change the source. … stands for what varies.",
        "*refused*: the drop goes to rejects. *mended*: Keyturn put it right. *noted*: worth knowing, stops nothing.",
    ]
    chapters: dict[str, dict[tuple[str, str], list[Made]]] = {title: {} for title in _CHAPTERS.values()}
    for made in every:
        chapter = chapters[_CHAPTERS[made.where.split(":")[0].split(".")[1]]]
        chapter.setdefault((made.code, made.kind), []).append(made)
    for title, codes in chapters.items():
        if codes:
            lines += ["", f"## {title}", "", "| code | | what is said | what to do |", "|---|---|---|---|"]
        for (code, kind), of_code in sorted(codes.items()):
            what = dict.fromkeys(text for made in of_code for text in made.what)
            mend = dict.fromkeys(text for made in of_code for text in made.mend if text)
            lines.append(f"| `{code}` | {kind} | {_cell(what)} | {_cell(mend)} |")
    return "\n".join(lines) + "\n"


def _cell(texts: dict[str, None]) -> str:
    return "<br>".join(_readable(text) for text in texts)


def _readable(text: str) -> str:
    return text.replace("|", "\\|").replace("<", "&lt;").replace("\n", " / ")


if __name__ == "__main__":
    PAGE.write_text(page(list(Reader().all())), encoding="utf-8")
    sys.stdout.write(f"{PAGE}\n")
