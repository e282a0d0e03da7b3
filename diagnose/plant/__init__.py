"""A quasi-steady model of the whole machine: six pure layers, each fault entering in one.

Layers in their order: `loop` (fluid, pumps), `air` (condenser fans), `supply` with `motor`, `cycle` (with `compressor`, `ahri_map`,
`evaporator`, `condenser`, `valve`, `charge`), `controller`, `instruments`. `machine_state` puts the first four together for one moment,
`simulate` walks the control and takes the readings, `march` runs minutes.

    plant = sizing.plant_of(card)                          a Machine card, every missing value filled and listed in plant.assumed
    shot = simulate.simulate(plant, Conditions(), [Fault("strainer-clogged", 0.8)], seed=1)
    shot.state, shot.alarms, shot.taken("suction_pressure", "circuit:A").shown
    march.march(plant, Conditions(load_share=0.4), minutes=60)
    expected.expected_readings(card, Conditions())         healthy value and band of what is compared

A cause gets its effect in `effects/`, in the module of its layer; `effects/scripted.py` says why the others have none; `telling` says
from which severity a fault shows and which causes no reading can separate. `physical` is what no machine can show, `prove` asks it
of thousands of random machines.

Nothing here draws a random number outside instruments, `scatter` and `draws`; nothing imports NumPy, SciPy or the property library.
"""
