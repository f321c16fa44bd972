"""Cholesky factor of the mixed-model equations of a large trial network, group by group.

The equations ``M = S [X Z]'W[X Z] S + D`` (S scales each random effect by its relative standard deviation, D is 1 on
random and 0 on fixed effects) of 72,000 plots have some 30,000 unknowns, but most of them touch the plots of one
site-year or of one site only. The unknowns that live inside one group are eliminated there, in a small dense matrix;
what is left passes to the next coarser group, and at last to one dense matrix (a multifrontal Cholesky; Duff and Reid,
ACM Trans. Math. Softw. 9:302-325, 1983, with the elimination tree given by the design instead of found from the
sparsity pattern). Effects that are the same column inside a group (variety, variety x site, variety x year inside one
site-year) share that column, which is what keeps the matrices small.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.wheat.trials.terms import Floats, Ints, Term, nested

_NODE_COST = 2e6  # floating-point operations that the handling of one small matrix costs, measured on one core


@dataclass(eq=False)
class Node:
    """One group: its own effects (`local`), and its columns that effects of coarser groups share (`edge`).

    `local_column` and `edge_column` index the columns of `gram`. `touch_effect` and `touch_edge` pair every outside
    effect that touches the group with its edge position. `up_edge` and `up_column` pair edge positions with columns of
    the parent; `carriers` and `carrier_start` list, edge by edge, where the parent's inverse holds those columns.
    """

    columns: int
    local: Ints
    local_column: Ints
    edge_column: Ints
    touch_effect: Ints
    touch_edge: Ints
    gram: Floats | None = None  # a leaf's own cross-products; None where assembled from children
    children: list[Node] = field(default_factory=list)
    parent: Node | None = None
    up_edge: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    up_column: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    carriers: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    carrier_start: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    spans: dict[str, Any] = field(default_factory=dict)  # the index arrays above, as slices where they are runs
    chol: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    reach: Floats = field(default_factory=lambda: np.zeros((0, 0)))  # chol^-1 M[local, edge]


@dataclass
class Plan:
    """The elimination order of one model: nodes with children before parents, the root last."""

    nodes: list[Node]
    effects: int
    chain: tuple[str, ...]


def _sizes(terms: Sequence[Term], group: Ints) -> tuple[Ints, list[bool]]:
    """(group,) how many outside effects touch each group at most, and which terms are inside."""
    groups = int(group.max()) + 1
    inside = [nested(t.codes, group) for t in terms]
    edge = np.zeros(groups, np.int64)
    for t, own in zip(terms, inside, strict=True):
        if not own:
            pairs = np.unique(group * len(t) + t.codes)
            edge = np.maximum(edge, np.bincount(pairs // len(t), minlength=groups))
    return edge, inside


def _local_sizes(terms: Sequence[Term], inside: Sequence[bool], group: Ints) -> Ints:
    total = np.zeros(int(group.max()) + 1, np.int64)
    for t, own in zip(terms, inside, strict=True):
        if own:
            first = np.zeros(len(t), np.int64)
            first[t.codes] = group
            total += np.bincount(first[np.unique(t.codes)], minlength=len(total))
    return total


def _cost(local: Ints, edge: Ints) -> float:
    m, b = local.astype(float), edge.astype(float)
    return float((m**3 / 3 + m * m * b + m * b * b + _NODE_COST).sum())


def choose_chain(terms: Sequence[Term]) -> list[int]:
    """Indices of the terms whose levels serve as groups, finest first; empty where one dense matrix is cheapest."""
    measured = {}
    for i, t in enumerate(terms):
        if 1 < len(t) < len(t.codes) / 2 and t.values is None:
            edge, inside = _sizes(terms, t.codes)
            if sum(len(u) for u, own in zip(terms, inside, strict=True) if own) > len(t) // 2:
                measured[i] = (edge, inside)
    total = sum(len(t) for t in terms)
    best: tuple[float, list[int]] = (total**3 / 3 + _NODE_COST, [])
    for fine, (edge, inside) in measured.items():
        here = _cost(_local_sizes(terms, inside, terms[fine].codes), edge)
        rest = total - sum(len(t) for t, own in zip(terms, inside, strict=True) if own)
        best = min(best, (here + rest**3 / 3, [fine]))
        for coarse, (far_edge, far_inside) in measured.items():
            if coarse == fine or not nested(terms[fine].codes, terms[coarse].codes):
                continue
            left = [b and not a for a, b in zip(inside, far_inside, strict=True)]
            more = _cost(_local_sizes(terms, left, terms[coarse].codes), far_edge)
            end = rest - sum(len(t) for t, own in zip(terms, left, strict=True) if own)
            best = min(best, (here + more + end**3 / 3, [fine, coarse]))
    return best[1]


def plan(terms: Sequence[Term], dropped: Sequence[NDArray[np.bool_] | None], weights: Floats) -> Plan:
    """The elimination plan of a model.

    Parameters
    ----------
    terms : fixed and random terms in the order of the effect vector
    dropped : for each term None, or (levels,) True for effects left out as redundant
    weights : (n,) weight of each plot
    """
    offsets = np.concatenate([[0], np.cumsum([len(t) for t in terms])]).astype(np.int64)
    kept = [np.ones(len(t), bool) if d is None else ~d for t, d in zip(terms, dropped, strict=True)]
    chain = choose_chain(terms)
    groupings = [terms[i].codes for i in chain]
    inside = [[nested(t.codes, g) for t in terms] for g in groupings]
    level = [next((k for k, row in enumerate(inside) if row[i]), len(chain)) for i in range(len(terms))]
    effect_level = np.concatenate([np.full(len(t), lv) for t, lv in zip(terms, level, strict=True)])

    first = groupings[0] if groupings else np.zeros(len(weights), np.int64)
    order = np.argsort(first, kind="stable")
    bounds = np.concatenate([[0], np.cumsum(np.bincount(first))])
    tier = [_leaf(terms, kept, offsets, weights, order[a:b], effect_level, 0) for a, b in pairwise(bounds)]
    for k in range(1, len(groupings) + 1):
        owner = np.zeros(len(tier), np.int64)
        if k < len(groupings):
            owner[groupings[k - 1]] = groupings[k]
        parents: list[list[Node]] = [[] for _ in range(int(owner.max()) + 1)]
        for child, at in zip(tier, owner.tolist(), strict=True):
            parents[at].append(child)
        tier = [_parent(children, effect_level, k) for children in parents]
    nodes = list(_postorder(tier[0]))
    for node in nodes:
        named = {"local": node.local_column, "edge": node.edge_column, "up": node.up_column, "up_edge": node.up_edge}
        node.spans = {name: _span(index) for name, index in (named | {"carriers": node.carriers}).items()}
    return Plan(nodes, int(offsets[-1]), tuple(terms[i].name for i in chain))


def _postorder(node: Node) -> Iterator[Node]:
    for child in node.children:
        yield from _postorder(child)
    yield node


def _leaf(
    terms: Sequence[Term],
    kept: Sequence[NDArray[np.bool_]],
    offsets: Ints,
    weights: Floats,
    rows: Ints,
    effect_level: Ints,
    level: int,
) -> Node:
    """A finest group: distinct columns of its design and their cross-products."""
    seen: dict[bytes, int] = {}  # a partition of the rows (and its covariate) -> where its columns start
    owner: list[Ints] = []
    values: list[Floats] = []
    columns = 0
    effect, column = [], []
    for t, keep, offset in zip(terms, kept, offsets, strict=False):
        own = t.codes[rows]
        found, start, relabelled = np.unique(own, return_index=True, return_inverse=True)
        rank = np.argsort(np.argsort(start))  # by first appearance, so that equal partitions read the same
        pattern = rank[relabelled]
        x = np.ones(len(rows)) if t.values is None else t.values[rows]
        key = pattern.tobytes() + (b"" if t.values is None else x.tobytes())
        if key not in seen:
            seen[key] = columns
            owner.append(pattern + columns)
            values.append(x)
            columns += len(found)
        effect.append(found[keep[found]] + offset)
        column.append((rank + seen[key])[keep[found]])
    dense = np.zeros((len(rows), columns))
    for at, x in zip(owner, values, strict=True):
        dense[np.arange(len(rows)), at] = x
    gram = dense.T @ (dense * weights[rows, None])
    return _node(np.concatenate(effect), np.concatenate(column), columns, effect_level, level, gram)


def _node(effect: Ints, column: Ints, columns: int, effect_level: Ints, level: int, gram: Floats | None) -> Node:
    mine = effect_level[effect] == level
    edge, position = np.unique(column[~mine], return_inverse=True)
    return Node(columns, effect[mine], column[mine], edge, effect[~mine], position.astype(np.int64), gram)


def _parent(children: list[Node], effect_level: Ints, level: int) -> Node:
    """A coarser group: effects that touch the same columns of the same children share one column here."""
    touched: dict[int, list[tuple[int, int]]] = {}
    for c, child in enumerate(children):
        for effect, edge in zip(child.touch_effect.tolist(), child.touch_edge.tolist(), strict=True):
            touched.setdefault(effect, []).append((c, edge))
    signature: dict[tuple[tuple[int, int], ...], int] = {}
    effects = np.fromiter(touched, np.int64, len(touched))
    column = np.array([signature.setdefault(tuple(s), len(signature)) for s in touched.values()], np.int64)
    links: list[tuple[list[int], list[int]]] = [([], []) for _ in children]
    for key, at in signature.items():
        for c, edge in key:
            links[c][0].append(edge)
            links[c][1].append(at)
    for child, (edges, ats) in zip(children, links, strict=True):
        by_edge = np.argsort(edges, kind="stable")
        child.up_edge, child.up_column = np.array(edges, np.int64)[by_edge], np.array(ats, np.int64)[by_edge]
    node = _node(effects, column, len(signature), effect_level, level, None)
    node.children = children
    _link_carriers(node)
    return node


def _link_carriers(node: Node) -> None:
    """Note for each child where the parent's inverse holds the effects that share each of the child's edges."""
    holders: list[list[int]] = [[] for _ in range(node.columns)]
    for at, column in enumerate([*node.local_column.tolist(), *node.edge_column.tolist()]):
        holders[column].append(at)
    for child in node.children:
        child.parent = node
        pick: list[int] = []
        start: list[int] = []
        previous = -1
        for edge, column in zip(child.up_edge.tolist(), child.up_column.tolist(), strict=True):
            if edge != previous:
                start.append(len(pick))
                previous = edge
            pick += holders[column]
        child.carriers, child.carrier_start = np.array(pick, np.int64), np.array(start, np.int64)


def _span(index: Ints) -> Any:
    """The index as a slice where it counts up by one: a view then stands for a copy."""
    if len(index) and index[-1] - index[0] == len(index) - 1 and (np.diff(index) == 1).all():
        return slice(int(index[0]), int(index[-1]) + 1)
    return index


def _square(matrix: Floats, span: Any) -> Floats:
    """Rows and columns of a matrix by an index or slice; may be a view."""
    return matrix[span, span] if isinstance(span, slice) else matrix[np.ix_(span, span)]


_SMALL = 64  # rows up to which a triangle is solved as any matrix; above it, by halves, almost all is one product


def _solve(lower: Floats, right: Floats) -> Floats:
    """x of L x = r for a lower triangle; NumPy has no triangular solver, and SciPy's costs more to import than an
    answer takes."""
    n = len(lower)
    if n <= _SMALL:
        return np.asarray(np.linalg.solve(lower, right), np.float64)
    half = n // 2
    top = _solve(lower[:half, :half], right[:half])
    return np.concatenate([top, _solve(lower[half:, half:], right[half:] - lower[half:, :half] @ top)])


def _solve_upper(lower: Floats, right: Floats) -> Floats:
    """x of L' x = r: the lower triangle of L' turned end for end."""
    return _solve(lower.T[::-1, ::-1], right[::-1])[::-1]


def factorise(tree: Plan, scale: Floats, ridge: Floats) -> float:
    """Factor M for the given scales; stores the factor in the nodes and returns log det M.

    Parameters
    ----------
    scale : (effects,) relative standard deviation of random effects, 1 for fixed
    ridge : (effects,) 1 for random effects, 0 for fixed

    Raises
    ------
    numpy.linalg.LinAlgError : M is not positive definite (a fixed effect cannot be estimated)
    """
    total = 0.0
    pending: dict[int, Floats] = {}
    for node in tree.nodes:
        gram = node.gram if node.gram is not None else pending.pop(id(node))
        at, edge = node.spans["local"], node.spans["edge"]
        s = scale[node.local]
        schur = _square(gram, edge)
        if len(s):
            block = _square(gram, at) * np.outer(s, s)
            block[np.diag_indices_from(block)] += ridge[node.local]
            node.chol = np.asarray(np.linalg.cholesky(block), np.float64)
            total += 2.0 * float(np.log(np.diag(node.chol)).sum())
            if len(node.edge_column):
                across = gram[at][:, edge] * s[:, None]
                node.reach = _solve(node.chol, across)
                schur = schur - node.reach.T @ node.reach
        else:
            node.reach = np.zeros((0, len(node.edge_column)))
        if node.parent is not None:
            into = pending.get(id(node.parent))
            if into is None:
                into = pending[id(node.parent)] = np.zeros((node.parent.columns, node.parent.columns))
            into_span, part = node.spans["up"], _square(schur, node.spans["up_edge"])
            if isinstance(into_span, slice):
                into[into_span, into_span] += part
            else:
                into[np.ix_(into_span, into_span)] += part
    return total


def forward(tree: Plan, scale: Floats, right: Floats) -> list[Floats]:
    """Solve L z = S r for every node; `right` (effects, m) is [X Z]'W f. Squares of z add up to r'M^-1 r."""
    rest = right.copy()
    out = []
    for node in tree.nodes:
        if not len(node.local):
            out.append(np.zeros((0, right.shape[1])))
            continue
        z = _solve(node.chol, rest[node.local] * scale[node.local, None])
        out.append(z)
        if len(node.edge_column):
            rest[node.touch_effect] -= (node.reach.T @ z)[node.touch_edge]
    return out


def backward(tree: Plan, scale: Floats, z: list[Floats]) -> Floats:
    """Scaled solution (effects, m): M^-1 of what `forward` was given; times `scale` it gives the effects."""
    m = z[0].shape[1]
    x = np.zeros((tree.effects, m))
    for node, part in zip(reversed(tree.nodes), reversed(z), strict=True):
        if not len(node.local):
            continue
        if len(node.edge_column):
            shared = np.zeros((len(node.edge_column), m))
            np.add.at(shared, node.touch_edge, x[node.touch_effect] * scale[node.touch_effect, None])
            part = part - node.reach @ shared
        x[node.local] = _solve_upper(node.chol, part)
    return x


def inverse_diagonal(tree: Plan, scale: Floats) -> Floats:
    """Diagonal of M^-1 (effects,), from the root outwards, without ever forming M^-1 (selected inversion)."""
    out = np.zeros(tree.effects)
    wholes: dict[int, tuple[int, Floats]] = {}  # a parent's inverse, kept until its last child has used it
    for node in reversed(tree.nodes):
        edge = _handed_down(node, wholes)
        inner = np.zeros((len(node.local), len(node.local)))
        across = np.zeros((len(node.local), len(edge)))
        if len(node.local):
            root = _solve(node.chol, np.eye(len(node.local)))
            inner = root.T @ root
            out[node.local] = np.diag(inner)
        if len(edge) and len(node.local):
            x = _solve_upper(node.chol, node.reach)
            across = -(x @ edge)
            out[node.local] -= (across * x).sum(axis=1)
            if node.children:
                inner -= across @ x.T
        if node.children:
            s = scale[node.local]
            whole = np.block([[inner * np.outer(s, s), across * s[:, None]], [across.T * s, edge]])
            wholes[id(node)] = (len(node.children), whole)
    return out


def _handed_down(node: Node, wholes: dict[int, tuple[int, Floats]]) -> Floats:
    """The parent's inverse summed over the effects that share each edge of this node (edge, edge)."""
    if node.parent is None:
        return np.zeros((0, 0))
    left, whole = wholes[id(node.parent)]
    if left == 1:
        del wholes[id(node.parent)]
    else:
        wholes[id(node.parent)] = (left - 1, whole)
    part = _square(whole, node.spans["carriers"])
    if len(node.carrier_start) < len(node.carriers):
        part = np.add.reduceat(np.add.reduceat(part, node.carrier_start, axis=0), node.carrier_start, axis=1)
    return part
