"""Small faults planted in a module, one at a time: a sign, a bound, a constant, an argument.

The faults are the usual ones of mutation testing (R. A. DeMillo, R. J. Lipton and F. G.
Sayward, "Hints on test data selection", Computer 11, 1978; the lists of mutmut and
cosmic-ray), with those that matter in numerical code added: sine for cosine, least for
greatest, degrees for radians, the arms of a `where`. Text is left alone, as a wrong column
name fails at once and would only flatter the score.
"""

import ast
from collections import Counter
from dataclasses import dataclass
from types import CodeType

SWAPPED_OPERATORS = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip

# A comparison's bound moved, and the comparison turned round.
COMPARISONS = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt), ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,), ast.In: (ast.NotIn,), ast.NotIn: (ast.In,),
}  # fmt: skip

SWAPPED_NAMES = [
    ("sin", "cos"), ("arcsin", "arccos"), ("minimum", "maximum"), ("min", "max"),
    ("fmin", "fmax"), ("argmin", "argmax"), ("ceil", "floor"), ("any", "all"),
    ("ones", "zeros"), ("ones_like", "zeros_like"), ("radians", "degrees"),
    ("deg2rad", "rad2deg"), ("isf", "ppf"), ("cdf", "sf"), ("lo", "hi"), ("first", "last"),
    ("eq", "neq"), ("sqrt", "square"), ("log", "exp"), ("head", "tail"),
]  # fmt: skip
NAMES = dict(SWAPPED_NAMES) | {b: a for a, b in SWAPPED_NAMES}

CHOICES = ("where", "switch")


@dataclass(frozen=True)
class Mutant:
    """A module with one fault in it.

    Attributes
    ----------
    module : str
        Path of the module, as ``putlab/roll.py``.
    function : str
        Where the fault is: ``Class.method``, or "" at the level of the module.
    text, was, now : str
        The statement's first line, and the faulty part of it before and after.
    nth : int
        Which of those that read the same.
    lines : range
        Lines of the statement that holds it.
    code : code object
        The faulty module, compiled.
    """

    module: str
    function: str
    text: str
    was: str
    now: str
    nth: int
    lines: range
    code: CodeType

    @property
    def name(self):
        """What finds it again after the lines have moved."""
        names = ("module", "function", "text", "was", "now", "nth")
        return {name: getattr(self, name) for name in names}


def mutants(module, source, functions=None):
    """Return every mutant of a module.

    Parameters
    ----------
    module : str
        Its path.
    source : str
        Its text.
    functions : tuple of str, optional
        Only faults in these functions ("" is the module's own level).

    Returns
    -------
    list of Mutant
        In the order of the text.
    """
    tree = ast.parse(source)
    texts = source.splitlines()
    seen, found = Counter(), []
    for node, parent, put, statement, where in _places(tree, None, "", None, None):
        if functions is not None and where not in functions:
            continue
        # A number by itself tells a reader nothing: show what it stands in.
        shown = parent if isinstance(node, ast.Constant) else node
        for other in _faults(node):
            was = ast.unparse(shown)
            put(ast.fix_missing_locations(ast.copy_location(other, node)))
            now = ast.unparse(parent if isinstance(node, ast.Constant) else other)
            code = compile(tree, module, "exec")
            put(node)
            lines = _lines(statement)
            name = (module, where, texts[lines[0] - 1].strip(), was, now)
            found.append(Mutant(*name, nth=seen[name], lines=lines, code=code))
            seen[name] += 1
    return found


def _places(node, statement, where, parent, put):
    """Walk over what may hold a fault: node, parent, how to replace it, statement, function."""
    if isinstance(node, ast.JoinedStr):  # the words of a message
        return
    if isinstance(node, ast.stmt):
        statement = node
    if put is not None:
        yield node, parent, put, statement, where
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        where = f"{where}.{node.name}" if where else node.name
    for field, value in ast.iter_fields(node):
        if field in ("annotation", "returns", "decorator_list"):
            continue
        if isinstance(value, ast.AST):
            yield from _places(value, statement, where, node, _setter(node, field))
        elif isinstance(value, list):
            for i, part in enumerate(value):
                if isinstance(part, ast.AST):
                    yield from _places(part, statement, where, node, _item_setter(value, i))


def _setter(parent, field):
    return lambda node: setattr(parent, field, node)


def _item_setter(items, i):
    def put(node):
        items[i] = node

    return put


def _lines(statement):
    """Lines of a statement; of one with a body, its head."""
    body = getattr(statement, "body", None)
    last = body[0].lineno - 1 if body else statement.end_lineno
    return range(statement.lineno, max(last, statement.lineno) + 1)


def _faults(node):
    """Return what may stand in a node's place."""
    kinds = {
        ast.Constant: _numbers, ast.BinOp: _operators, ast.AugAssign: _operators,
        ast.BoolOp: _operators, ast.Compare: _comparisons, ast.UnaryOp: _signs,
        ast.IfExp: _arms, ast.If: _conditions, ast.While: _conditions, ast.Call: _calls,
        ast.Attribute: _attributes, ast.Expr: _removed, ast.Raise: _removed,
    }  # fmt: skip
    return list(kinds[type(node)](node)) if type(node) in kinds else []


def _copy(node, **changed):
    fields = {name: getattr(node, name) for name in node._fields if hasattr(node, name)}
    return type(node)(**fields | changed)


def _numbers(node):
    value = node.value
    if isinstance(value, bool):
        yield ast.Constant(not value)
    elif isinstance(value, int):
        yield ast.Constant(value + 1)
        yield ast.Constant(value - 1)
    elif isinstance(value, float):
        # A tenth more is a finer fault than one more: 0.90 would become a nonsense 1.90.
        yield ast.Constant(value * 1.1 if value else 1.0)


def _operators(node):
    other = SWAPPED_OPERATORS.get(type(node.op))
    if other:
        yield _copy(node, op=other())


def _comparisons(node):
    for i, op in enumerate(node.ops):
        for other in COMPARISONS[type(op)]:
            yield _copy(node, ops=[*node.ops[:i], other(), *node.ops[i + 1 :]])


def _signs(node):
    yield node.operand


def _arms(node):
    yield _copy(node, body=node.orelse, orelse=node.body)


def _conditions(node):
    yield _copy(node, test=ast.UnaryOp(ast.Not(), node.test))


def _calls(node):
    for i, keyword in enumerate(node.keywords):
        if keyword.arg:
            yield _copy(node, keywords=node.keywords[:i] + node.keywords[i + 1 :])
    called = node.func
    name = getattr(called, "attr", getattr(called, "id", None))
    if name in CHOICES and len(node.args) == 3:
        yield _copy(node, args=[node.args[0], node.args[2], node.args[1]])
    if name in NAMES:
        field = "attr" if isinstance(called, ast.Attribute) else "id"
        yield _copy(node, func=_copy(called, **{field: NAMES[name]}))


def _attributes(node):
    if ast.unparse(node) == "np.inf":
        yield ast.UnaryOp(ast.USub(), node)
    elif ast.unparse(node) == "np.nan":
        yield ast.Constant(0.0)


def _removed(node):
    docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    if not docstring:
        yield ast.Pass()
