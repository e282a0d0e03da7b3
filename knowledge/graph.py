"""The base as a graph: cause -> effect -> finding, for looking at; and the induced width of its forest of effects.

Given the causes, belief sums effects and findings out one by one. How many of them must be held together for that is the
induced width; a forest has width 1, and then every sum is exact and fast. Each finding hangs on at most one effect and each
effect on at most one other, so only a ring of parents can break it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import networkx as nx

from knowledge.load import Knowledge
from knowledge.models import Effect, Finding
from shared.errors import ChillerError

MOST_WIDTH = 1
_SHAPES = {"complaint": "hexagon", "cause": "box", "effect": "ellipse", "finding": "plaintext"}
Node = tuple[str, str]


def effect_forest(effects: Mapping[str, Effect], findings: Mapping[str, Finding]) -> nx.Graph:
    """Undirected graph over ("effects", id) and ("findings", id); an edge from each to the effect above it."""
    graph = nx.Graph()
    graph.add_nodes_from(("effects", name) for name in effects)
    graph.add_nodes_from(("findings", name) for name in findings)
    graph.add_edges_from((("effects", e.id), ("effects", e.parent)) for e in effects.values() if e.parent)
    graph.add_edges_from((("findings", f.id), ("effects", f.effect)) for f in findings.values() if f.effect)
    return graph


def induced_width(graph: nx.Graph) -> tuple[int, tuple[Node, ...]]:
    """(width, nodes that lie on a ring and so raise it above 1); exact up to width 1, above it an upper bound.

    The bound is that of the elimination order by least degree (networkx). Removing leaves until none is left leaves nothing
    of a forest, so what remains is to blame.
    """
    width, _ = nx.algorithms.approximation.treewidth_min_degree(graph)
    loops = {node for node in graph if graph.has_edge(node, node)}
    plain = nx.Graph((a, b) for a, b in graph.edges if a != b)
    ring = set(nx.k_core(plain, 2)) | loops
    return (max(width, 2) if ring else width), tuple(sorted(ring))


def cause_map(knowledge: Knowledge, complaint: str = "") -> nx.DiGraph:
    """Directed graph complaint -> cause -> effect -> finding.

    complaint: only the causes that list it, under the complaint itself; else all causes and no complaint. Nodes are named
    "kind:id" and carry kind, id and title. Edges carry kind and
    "reported": often; "brings": lines [{gives: {word: how often}, when: {machine fact: words}}], one a line of the card;
    "shows": given {word above: {word: how often}}. Raises ChillerError for an unknown complaint.
    """
    if complaint and complaint not in knowledge.complaints:
        allowed = ", ".join(knowledge.complaints)
        raise ChillerError("no such complaint", given=complaint, allowed=allowed, do="choose one")
    graph = nx.DiGraph()

    def node(kind: str, card: Any) -> str:
        name = f"{kind}:{card.id}"
        graph.add_node(name, kind=kind, id=card.id, title=card.title)
        return name

    for cause in knowledge.causes.values():
        if complaint and complaint not in cause.complaints:
            continue
        source = node("cause", cause)
        if complaint:
            above = node("complaint", knowledge.complaints[complaint])
            graph.add_edge(above, source, kind="reported", often=cause.complaints[complaint])
        for edge in cause.brings:
            if edge.effect:
                target = node("effect", knowledge.effects[edge.effect])
            else:
                target = node("finding", knowledge.findings[edge.finding or ""])
            if not graph.has_edge(source, target):
                graph.add_edge(source, target, kind="brings", lines=[])
            line = {"gives": dict(edge.gives), "when": {n: list(w) for n, w in edge.when.items()}}
            graph.edges[source, target]["lines"].append(line)
    reached = [data["id"] for _, data in graph.nodes(data=True) if data["kind"] == "effect"]
    for name in reached:  # grows: an effect moves the effects below it
        below = [e for e in knowledge.effects.values() if e.parent == name]
        for effect in below:
            graph.add_edge(f"effect:{name}", node("effect", effect), kind="shows", given=_given(effect.given))
        reached += [e.id for e in below if e.id not in reached]
        for finding in knowledge.findings.values():
            if finding.effect == name and finding.given:
                graph.add_edge(f"effect:{name}", node("finding", finding), kind="shows", given=_given(finding.given))
    return graph


def _given(given: Mapping[str, Mapping[str, str]]) -> dict[str, dict[str, str]]:
    return {above: dict(words) for above, words in given.items()}


def map_json(graph: nx.DiGraph) -> dict[str, Any]:
    """The map as data: nodes [{name, kind, id, title}], edges [{source, target, kind, ...}], in a fixed order."""
    edges = sorted(graph.edges(data=True), key=lambda e: e[:2])
    return {
        "nodes": [{"name": name, **data} for name, data in sorted(graph.nodes(data=True))],
        "edges": [{"source": a, "target": b, **data} for a, b, data in edges],
    }


def map_dot(graph: nx.DiGraph) -> str:
    """The map as DOT text (the graph description language that Graphviz draws)."""
    lines = ["digraph causes {", "  rankdir=LR;", "  node [fontsize=10];"]
    for name, data in sorted(graph.nodes(data=True)):
        lines.append(f"  {_quoted(name)} [label={_quoted(data['title'])}, shape={_SHAPES[data['kind']]}];")
    for source, target, data in sorted(graph.edges(data=True), key=lambda e: e[:2]):
        lines.append(f"  {_quoted(source)} -> {_quoted(target)} [label={_quoted(_label(data))}, fontsize=8];")
    return "\n".join([*lines, "}"])


def _label(edge: Mapping[str, Any]) -> str:
    if edge["kind"] == "reported":
        return str(edge["often"])
    if edge["kind"] == "shows":
        return "; ".join(f"{above}: {_often(gives)}" for above, gives in edge["given"].items())
    parts = []
    for line in edge["lines"]:
        when = ", ".join(f"{name} {'/'.join(words)}" for name, words in line["when"].items())
        parts.append(_often(line["gives"]) + (f" (with {when})" if when else ""))
    return "; ".join(parts)


def _often(gives: Mapping[str, str]) -> str:
    return ", ".join(f"{word} {often}" for word, often in gives.items())


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
