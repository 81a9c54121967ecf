"""The kernels for a GPU, made at import from the source of those for a processor.

There is one source of physics: the files of `wavesim.kernels`.  What is made of them here is the
same but for what follows, each a method or two of `_Translator`:

* The decorators of `kernels/jit.py` become those of `target.py`.
* A loop over cells, holes, ends, pairs, joints or stores becomes one that many threads share:

      for i in range(I1, np.uintp(n)):          i = I1 + first_cell()
          ...                              ->   while i < np.uintp(n):
                                                    ...
                                                    i += cells_at_once()

  Cells and holes are counted by `np.uintp`, cells of tapers by `listed`; all others are the rows of
  a table of the network.  Their passes depend on nothing that another pass does.
* A pass of a loop over cells reads all that it needs before it writes (`_in_order`).
* All that is done to the holes of a perforated wall, one loop after the other, is one loop
  (`_Walls`), so that nothing waits for what the loop before has written.
* Where one perforated wall follows another, and before and after cells of tapers are treated once
  more, the threads wait for each other.
* Ends that are solved go to one warp or another by the way they flow, stores by their kind
  (`SORTED`).
* The four calls that a steep taper takes most of its time for are made by four lanes (`_by_lanes`).
* Counters of emergency exits are added to by one thread at a time.
* Division, square root, logarithm, exponential, least and greatest values are those of `target.py`.

`together` makes one loop of several, also with some that only a GPU has (`loops`), and of loops
over cells and loops over the faces between them (`_in_tiles`).
"""

import ast
import copy
import importlib
import importlib.util
import math
import re
import types
from functools import cache, reduce
from itertools import takewhile

from wavesim.gpu import loops as own_loops
from wavesim.gpu import target

PACKAGE = "wavesim.kernels"
#: By the table whose rows a loop runs over: what the threads that share it are told by.
SHARED = {
    "end_int": ("first_end", "ends_at_once"), "pair": ("first_pair", "ends_at_once"),
    "joint": ("first_pair", "ends_at_once"), "store_int": ("lane", "lanes_at_once"),
}
#: Loops whose passes go different ways, by function and table: which warp takes a pass, so that its
#: threads go one way.
SORTED = {
    ("solve_ends", "end_int"): "_target.warp_of_flow(state.end[{0}, f.ES_V])",
    (None, "store_int"): (
        "_target.warp_of_store({0}, net.store_int[{0}, f.STORE_KIND] == f.CYLINDER)"),
}
CELLS = ("first_cell", "cells_at_once")
FOURS = ("first_four", "fours_at_once")
IN_FOURS = "carried"  # a function of which one pass over cells of tapers makes four calls
ONE_BY_ONE = "hole_wall"
OWN = ("is_among", "force_on", "faces_of", "keep")  # functions that the loops of `loops` call
PASSED_ON = "_passed_on_"  # name of what loops of `together` hand on
#: What one loop hands to the next in a pass, and nothing else reads.
SCRATCH = ("work.hole[", PASSED_ON)
DECORATORS = {"leaf": "part", "stage": "part", "part": "part", "kernel": "function",
              "entry": "function", "aside": "function"}
FUNCTIONS = {"math.sqrt": "root", "math.log": "logarithm", "math.exp": "exponential"}
EXTREMES = {"min": "least", "max": "greatest"}
TARGET = "_target"  # what it is called in the modules made


@cache
def made(name):
    """A module of the kernels as it runs on a GPU.

    Parameters
    ----------
    name : str
        Such as "cells".

    Returns
    -------
    module
    """
    if name in ("constants", "flat"):  # nothing in them is compiled
        return importlib.import_module(f"{PACKAGE}.{name}")
    tree, path = _source(name)
    tree = _Walls(_functions(tree)).visit(tree)
    module = types.ModuleType(f"wavesim.gpu.made.{name}")
    setattr(module, TARGET, target)
    module.__dict__.update(_imported(tree))
    _define(module, tree, path)
    return module


def together(name, *loops, passed_on=(), in_tiles=False):
    """One function of several that are loops over the same cells: what they share is read once.

    Parameters
    ----------
    name : str
        Module of the kernels, such as "cells".
    loops : str
        Names of its functions, or of those in `gpu/loops.py`.  Parameters of one name are one, and
        the cells are those of the first.
    passed_on : sequence of str
        Parameters that only the loops themselves read, and which are not written to memory.
    in_tiles : bool
        Whether the last loops are over faces and read what the first ones have found in the cells
        on both sides; see `_in_tiles`.

    Returns
    -------
    callable
        Takes the arguments of all, each where it is first mentioned, but for those passed on;
        returns what the last one does.
    """
    tree, path = _source(name)
    module, found = made(name), _functions(tree) | _functions(_source_at(own_loops.__file__))
    module.__dict__.update((call, getattr(own_loops, call)) for call in OWN)
    parts = [found[loop] for loop in loops]
    given = {one.arg: one for part in parts for one in part.args.args}
    names = {one: PASSED_ON + one if one in passed_on else one for one in given}
    calls = [ast.Expr(ast.Call(_name(part.name),
                               [_name(names[one.arg]) for one in part.args.args], []))
             for part in parts]
    if isinstance(parts[-1].body[-1], ast.Return):
        calls[-1] = ast.Return(calls[-1].value)
    whole = copy.deepcopy(parts[0])
    whole.name = "_and_".join(loops)
    whole.decorator_list = [ast.Attribute(_name(TARGET), DECORATORS["kernel"], ast.Load())]
    whole.args.args = [one for one in given.values() if one.arg not in passed_on]
    whole.body = _in_one_pass(calls, found)
    if in_tiles:
        whole.body = _in_tiles(*whole.body)
    _define(module, ast.Module([whole], []), path)
    return getattr(module, whole.name)


def _source(name):
    """Tree of a module of the kernels, and its file."""
    path = importlib.util.find_spec(f"{PACKAGE}.{name}").origin
    return _source_at(path), path


def _source_at(path):
    with open(path, encoding="utf-8") as file:
        return ast.parse(file.read(), path)


def _functions(tree):
    """The functions of a module by name."""
    return {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}


def _define(module, tree, path):
    """Define in a module what the translation of a tree does."""
    tree = ast.fix_missing_locations(_Translator().visit(tree))
    exec(compile(tree, path, "exec"), module.__dict__)


def _imported(tree):
    """What a module imports from beside it, made for the GPU as well."""
    found = {}
    for node in tree.body:
        if not isinstance(node, ast.ImportFrom) or node.level == 0:
            continue
        for alias in node.names:
            if node.module == "jit":
                value = getattr(target, DECORATORS[alias.name])
            elif node.module is None:
                value = made(alias.name)
            else:
                value = getattr(made(node.module), alias.name)
            found[alias.asname or alias.name] = value
    return found


def _name(text):
    return ast.Name(text, ast.Load())


def _call(name, *arguments):
    """Call of a function of `target`."""
    return ast.Call(ast.Attribute(_name(TARGET), name, ast.Load()), list(arguments), [])


def _unsigned(node):
    return ast.Call(ast.Attribute(_name("np"), "uintp", ast.Load()), [node], [])


def _as_list(lines):
    return lines if isinstance(lines, list) else [lines]


def _is_range(node):
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and (
        node.func.id == "range")


def _table(node):
    """Name of the table whose rows a `range` counts: `net.NAME.shape[0]`."""
    last = node.args[-1]
    if isinstance(last, ast.Subscript) and isinstance(last.value, ast.Attribute) and (
            last.value.attr == "shape"):
        of = last.value.value
        return of.attr if isinstance(of, ast.Attribute) else of.id
    return None


class _Translator(ast.NodeTransformer):
    """Makes the tree of a module for the GPU of that for a processor."""

    def visit_ImportFrom(self, node):
        return None if node.level else node

    def visit_For(self, node):
        """Loops that the threads share, and walls that they take one after the other."""
        self.generic_visit(node)
        if not _is_range(node.iter):
            return node
        table = _table(node.iter)
        if table == ONE_BY_ONE:
            node.body.append(ast.Expr(_call("barrier")))
            return node
        unsigned = "np.uintp" in ast.unparse(node.iter)
        share = CELLS if unsigned or table == "listed" else SHARED.get(table)
        if share is None:
            return node
        sort = SORTED.get((self._function, table)) or SORTED.get((None, table))
        if sort:
            share = SHARED["store_int"]
            test = f"if {sort.format(node.target.id)} != _target.warp(): continue"
            node.body[:0] = ast.parse(test).body
        if node.orelse:
            raise NotImplementedError(f"line {node.lineno}: a shared loop with an else")
        if table == "listed":
            node.body, share = _by_lanes(node.body, share)
        begin, later = (_call(name) for name in share)
        *start, stop = node.iter.args
        name = node.target.id
        if unsigned:  # never mixed with signed ones, as in the source
            begin, later = _unsigned(begin), _unsigned(later)
            node.body = _in_order(node.body)
        if start:
            begin = ast.BinOp(start[0], ast.Add(), begin)
        go_on = ast.AugAssign(ast.Name(name, ast.Store()), ast.Add(), later)
        body = [line for old in node.body for line in _as_list(_Continue(go_on).visit(old))]
        return [
            ast.Assign([ast.Name(name, ast.Store())], begin),
            ast.While(ast.Compare(_name(name), [ast.Lt()], [stop]), [*body, go_on], []),
        ]

    def visit_If(self, node):
        """Tapers, which change what other threads have made of the same cells."""
        self.generic_visit(node)
        if ast.unparse(node.test) == "net.taper.shape[0] > 0":
            node.body = [ast.Expr(_call("barrier")), *node.body, ast.Expr(_call("barrier"))]
        return node

    def visit_AugAssign(self, node):
        """Counters, which several threads may raise at once."""
        self.generic_visit(node)
        place = node.target
        if isinstance(node.op, ast.Add) and isinstance(place, ast.Subscript) and (
                ast.unparse(place.value) in ("state.clock", "clock")):
            return ast.Expr(_call("count", place.value, place.slice, node.value))
        if isinstance(node.op, ast.Div):
            raise NotImplementedError(f"line {node.lineno}: a division in place")
        return node

    def visit_BinOp(self, node):
        """Divisions of what is not known before."""
        self.generic_visit(node)
        known = all(isinstance(side, ast.Constant) for side in (node.left, node.right))
        if not isinstance(node.op, ast.Div) or known:
            return node
        by = node.right.value if isinstance(node.right, ast.Constant) else 0.0
        if by > 0.0 and math.frexp(by)[0] == 0.5:  # a power of two
            return ast.BinOp(node.left, ast.Mult(), ast.Constant(1.0 / by))
        return _call("divided", node.left, node.right)

    def visit_Call(self, node):
        self.generic_visit(node)
        name = ast.unparse(node.func)
        if name in EXTREMES:
            return reduce(lambda one, two: _call(EXTREMES[name], one, two), node.args)
        return _call(FUNCTIONS[name], *node.args) if name in FUNCTIONS else node

    def visit_Assign(self, node):
        """Numbers of a module are known when it is made, and stay as they are."""
        return node if self._depth == 0 else self.generic_visit(node)

    _depth, _function = 0, None

    def visit_FunctionDef(self, node):
        self._depth += 1
        self._function = node.name
        decorators = node.decorator_list
        node.decorator_list = []
        self.generic_visit(node)
        node.decorator_list = decorators
        self._depth -= 1
        return node


class _Walls(ast.NodeTransformer):
    """Makes one loop of all those over the holes of a wall, in functions called one by one."""

    def __init__(self, found):
        self._found = found

    def visit_FunctionDef(self, node):
        walls = [line for line in node.body if isinstance(line, ast.For) and _is_range(line.iter)
                 and _table(line.iter) == ONE_BY_ONE]
        for loop in walls:
            known = _Known({})
            for line in node.body[:node.body.index(loop)]:
                if isinstance(line, ast.Assign):
                    known.learn(line)
            which = list(takewhile(lambda line: isinstance(line, ast.Assign), loop.body))
            rest = [known.visit(line) for line in loop.body[len(which):]]
            loop.body = [*which, *_by_cases(rest, self._found)]
        return node


def _by_cases(lines, found):
    """What `_in_one_pass` makes of lines, for either answer to what they ask."""
    asked = [line.test for line in lines if isinstance(line, ast.If)]
    if not asked:
        return _in_one_pass(lines, found)
    yes, no = [], []
    for line in lines:
        is_asked = isinstance(line, ast.If) and ast.unparse(line.test) == ast.unparse(asked[0])
        yes += line.body if is_asked else [line]
        no += line.orelse if is_asked else [line]
    return [ast.If(asked[0], _by_cases(yes, found), _by_cases(no, found))]


def _in_one_pass(lines, found):
    """One loop of those in several functions, whose passes follow each other cell by cell.

    Parameters
    ----------
    lines : list of ast.Expr, ast.AugAssign or ast.Return
        Each calls a function, or adds or returns what it returns.
    found : dict
        The functions by name.  They hold loops over the same cells (the first loop says which),
        names for arrays, and sums that begin with a number.

    Returns
    -------
    list
        Of lines.  Every element is named by where it lies in the arrays of the caller, by whatever
        name and place a function knows it.
    """
    whole, ahead, behind = None, [], []
    for number, line in enumerate(lines):
        if not isinstance(line, ast.Expr | ast.AugAssign | ast.Return):
            raise NotImplementedError(f"line {line.lineno}: between loops that are to be one")
        part = copy.deepcopy(found[line.value.func.id])
        own = _assigned([one for loop in part.body if isinstance(loop, ast.For)
                         for one in loop.body])
        known = _Known({name: _name(f"{name}_{number}") for name in own} | {
            one.arg: value for one, value in zip(part.args.args, line.value.args, strict=True)})
        for one in part.body:
            if isinstance(one, ast.For):
                whole = whole or ast.For(one.target, known.visit(one.iter), [], [])
                known.meaning[one.target.id] = _name(whole.target.id)
                first = _of_places(one.body)
                for place in one.body[:first]:
                    known.learn(place)
                whole.body += [known.visit(inner) for inner in one.body[first:]]
            elif isinstance(one, ast.Assign) and _assigned([one]) <= own:
                ahead.append(known.visit(one))
            elif isinstance(one, ast.Assign):
                known.learn(one)
            elif isinstance(one, ast.Return) and isinstance(line, ast.AugAssign):
                behind.append(ast.AugAssign(line.target, line.op, known.visit(one.value)))
            elif isinstance(one, ast.Return) and isinstance(line, ast.Return):
                behind.append(ast.Return(known.visit(one.value)))
            elif not (isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant)):
                raise NotImplementedError(f"line {one.lineno}: more than a loop and names for it")
    return [*ahead, whole, *behind]


def _in_tiles(loop):
    """A loop over cells and the faces between them, by warps that hold neighbouring cells.

    Each lane of a warp has a cell and the face below it, of which it gets the other side from the
    lane below.  So the first lane has no face, and its cell is that of the last lane before.  What
    two lanes find of a cell is the same.

        _tile = I1 + np.uintp(first_tile())
        _last = np.uintp(n) - I1 - I1
        for _ in range(tiles(np.int64(_last - I1))):
            _here = _tile + np.uintp(lane())
            i = min(_here, _last)
            ...                                       as `_in_order`
            if lane() > 0 and _here == i:
                ...                                   what is found of faces
            _tile += np.uintp(tiles_at_once())
    """
    start, stop = map(ast.unparse, loop.iter.args)
    i = loop.target.id
    frame = ast.parse(f"""
_tile = {start} + np.uintp({TARGET}.first_tile())
_last = {stop} - I1
for _ in range({TARGET}.tiles(np.int64(_last - {start}))):
    _here = _tile + np.uintp({TARGET}.lane())
    {i} = min(_here, _last)
    if {TARGET}.lane() > 0 and _here == {i}:
        pass
    _tile += np.uintp({TARGET}.tiles_at_once())
""").body
    *before, of_faces, behind = frame[-1].body
    gather = _GatherBelow(i)
    of_cells, of_faces.body = gather.lines_of(loop.body)
    frame[-1].body = [*before, *of_cells, of_faces, behind]
    return frame


class _Known(ast.NodeTransformer):
    """Puts in the place of names what they stand for.

    Attributes
    ----------
    meaning : dict
        By name, the expression.
    """

    def __init__(self, meaning):
        self.meaning = meaning

    def learn(self, line):
        """Take in the names of `a = x` or `a, b = x, y`."""
        target, value = line.targets[0], self.visit(line.value)
        if isinstance(target, ast.Tuple):
            self.meaning |= {one.id: its for one, its in zip(target.elts, value.elts, strict=True)}
        else:
            self.meaning[target.id] = value

    def visit_Name(self, node):
        meant = copy.deepcopy(self.meaning.get(node.id, node))
        if isinstance(meant, ast.Name):
            meant.ctx = node.ctx
        return meant


def _by_lanes(body, share):
    """A pass of a loop, and who shares the loop: four lanes if the pass makes four calls.

    Each lane makes one of the calls and tells the others what it has found; the first goes on.
    """
    calls = [line for line in body if isinstance(line, ast.Assign)
             and isinstance(line.value, ast.Call) and ast.unparse(line.value.func) == IN_FOURS]
    if len(calls) != 4:
        return body, share
    at = body.index(calls[0])
    rest = [line for line in body[at:] if line not in calls]
    given = [call.value.args for call in calls]
    used = {node.id for args in given for one in args for node in ast.walk(one)
            if isinstance(node, ast.Name)}
    if used & _assigned(body[at:]):
        raise NotImplementedError(f"line {calls[0].lineno}: calls that depend on each other")
    turns = [ast.Compare(_name("_turn"), [ast.Eq()], [ast.Constant(k)]) for k in range(3)]
    chosen = [ast.IfExp(turns[0], a, ast.IfExp(turns[1], b, ast.IfExp(turns[2], c, d)))
              for a, b, c, d in zip(*given, strict=True)]
    found = [_name(f"_found_{k}") for k in range(len(calls[0].targets[0].elts))]
    told = [ast.Assign([target], _call("of_four", ast.Constant(place), one))
            for place, call in enumerate(calls)
            for target, one in zip(call.targets[0].elts, found, strict=True)]
    return [
        *body[:at],
        ast.Assign([ast.Name("_turn", ast.Store())], _call("place_in_four")),
        ast.Assign([ast.Tuple([ast.Name(one.id, ast.Store()) for one in found], ast.Store())],
                   ast.Call(calls[0].value.func, chosen, [])),
        *told, ast.If(turns[0], rest, []),
    ], FOURS


def _in_order(body):
    """A pass of a loop over cells as a GPU runs it best: first all loads, last all stores.

    A compiler must take it that what is written to one array changes another, and would wait for
    each value before it asks for the next.
    """
    if any(isinstance(node, (ast.If, ast.For, ast.While)) for line in body
           for node in ast.walk(line)):
        return body
    first = _of_places(body)
    gather = _Gather()
    rest = [gather.visit(line) for line in body[first:]]
    return [*body[:first], *gather.lines(), *rest, *gather.kept().values()]


def _of_places(body):
    """How many lines at the beginning of a pass find the numbers of neighbours and no more."""
    for number, line in enumerate(body):
        read = any(isinstance(node, ast.Subscript) for node in ast.walk(line))
        called = {ast.unparse(node.func) for node in ast.walk(line) if isinstance(node, ast.Call)}
        if not isinstance(line, ast.Assign) or read or called - {"np.uintp"}:
            return number
    return len(body)


def _assigned(lines):
    """Names to which something is assigned."""
    return {node.id for line in lines for node in ast.walk(line)
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}


class _Gather(ast.NodeTransformer):
    """Gives names to the elements of arrays that a pass reads and writes.

    Attributes
    ----------
    loads : dict
        By its text, each element that is read before it is written.
    stores : dict
        By its text, the line that writes an element at the end.
    """

    def __init__(self):
        self.loads, self.stores, self._names = {}, {}, {}

    def lines(self):
        """What reads the elements."""
        written = {ast.unparse(store.targets[0].value) for store in self.stores.values()}
        for text, load in self.loads.items():
            if ast.unparse(load.value) in written and text not in self.stores:
                raise NotImplementedError(f"line {load.lineno}: {text} is what another pass writes")
        return [ast.Assign([ast.Name(self._names[text], ast.Store())], load)
                for text, load in self.loads.items()]

    def kept(self):
        """Of the stores, those of what is not only handed on in a pass."""
        return {text: store for text, store in self.stores.items()
                if text in self.loads or not text.startswith(SCRATCH)}

    def _name_of(self, node):
        return self._names.setdefault(
            ast.unparse(node),
            re.sub(r"\W+", "_", f"_{ast.unparse(node.value)}_{len(self._names)}"))

    def visit_Subscript(self, node):
        text, known = ast.unparse(node), len(self._names)
        name = self._name_of(node)
        if isinstance(node.ctx, ast.Store):
            self.stores[text] = ast.Assign([node], _name(name))
        elif len(self._names) > known:
            self.loads[text] = node
        return ast.Name(name, node.ctx)

    def visit_Assign(self, node):
        node.value = self.visit(node.value)  # before what it is assigned to
        node.targets = [self.visit(target) for target in node.targets]
        return node

    def visit_AugAssign(self, node):
        if not isinstance(node.target, ast.Subscript):
            return self.generic_visit(node)
        before = ast.Subscript(node.target.value, node.target.slice, ast.Load())
        return self.visit(ast.Assign([node.target], ast.BinOp(before, node.op, node.value)))


class _GatherBelow(_Gather):
    """Also takes from the lane below what that has found.

    Attributes
    ----------
    below : dict
        By its text, each element of the cell below that the lane below has found.
    """

    def __init__(self, i):
        super().__init__()
        self.below, self._i = {}, i

    def lines_of(self, body):
        """(all lines of a pass but what writes to faces, what does)."""
        lines, of_cells = [], None
        for line in body:
            known = dict(self.stores)
            lines.append(self.visit(line))
            if self.below and of_cells is None:
                of_cells, at = known, len(lines) - 1
        if not of_cells.keys() >= self.below.keys():
            raise NotImplementedError(f"line {body[0].lineno}: what lanes find after they have met")
        names = [_name(self._names[text]) for text in self.below]
        met = ast.Assign([ast.Tuple([ast.Name(f"_below{name.id}", ast.Store()) for name in names],
                                    ast.Store())],
                         _call("below", ast.Tuple(names, ast.Load())))
        cells = [store for text, store in self.kept().items() if text in of_cells]
        faces = [store for text, store in self.kept().items() if text not in of_cells]
        return [*self.lines(), *lines[:at], met, *lines[at:], *cells], faces

    def visit_Subscript(self, node):
        own = f"{ast.unparse(node.value)}[{self._i}]"
        if ast.unparse(node.slice) != f"{self._i} - I1" or own not in self.stores:
            return super().visit_Subscript(node)
        self.below[own] = node
        return _name(f"_below{self._names[own]}")


class _Continue(ast.NodeTransformer):
    """`continue` in a loop that has become a `while`: the count goes on all the same."""

    def __init__(self, go_on):
        self.go_on = go_on

    def visit_For(self, node):
        return node  # its own business

    visit_While = visit_For

    def visit_Continue(self, node):
        return [self.go_on, node]
