"""Machines are not their card: a plant whose parts differ from it by up to a tenth, for training and for evaluation."""

from __future__ import annotations

import random
from dataclasses import replace

from diagnose.plant.parameters import Plant


def scattered(plant: Plant, seed: int, share: float = 0.10) -> Plant:
    """A copy with its parts moved, each evenly within +/- ``share``: UA of evaporator and condenser, swept volume, total
    efficiency (half of it), condenser air, pump head and bend, drops of plate, hoses and load, motors (half); charge a fifth.

    Same for every circuit in the large, a fifth of it again between circuits: they are of one build. Card values that a person reads
    off (design flow, drop on the label, cut-outs) stay: only the machine moves, not its plate.
    """
    draw = random.Random(f"scatter:{seed}")

    def by(width: float) -> float:
        return 1.0 + draw.uniform(-width, width)

    common = {name: by(share) for name in ("evaporator", "condenser", "swept", "air")}
    efficiency = by(0.5 * share)
    circuits = []
    for c in plant.circuits:
        own = {name: value * by(0.2 * share) for name, value in common.items()}
        circuits.append(
            replace(
                c,
                ua_evaporator=c.ua_evaporator * own["evaporator"],
                swept_m3s=c.swept_m3s * own["swept"],
                curve=replace(c.curve, efficiency=c.curve.efficiency * efficiency),
                charge_kg=c.charge_kg * by(0.2 * share),
                air=replace(c.air, ua=c.air.ua * own["condenser"], volume_m3s=c.air.volume_m3s * own["air"]),
            )
        )
    pump = plant.loop.pump
    pump = replace(pump, shutoff_m=pump.shutoff_m * by(share), slope=pump.slope * by(share), bend=pump.bend * by(share))
    loop = replace(
        plant.loop,
        pump=pump,
        evaporator_pa=plant.loop.evaporator_pa * by(share),
        hose_pa=plant.loop.hose_pa * by(share),
        load_pa=plant.loop.load_pa * by(share),
        strainer_pa=plant.loop.strainer_pa * by(share),
    )
    p = plant.supply
    supply = replace(
        p,
        compressor=replace(p.compressor, duty_a=p.compressor.duty_a * by(0.5 * share)),
        pump=replace(p.pump, duty_a=p.pump.duty_a * by(0.5 * share)),
        fan=replace(p.fan, duty_a=p.fan.duty_a * by(0.5 * share)),
    )
    return replace(plant, circuits=tuple(circuits), loop=loop, supply=supply)
