"""From a short recipe to a first cycle: layers by amount, feet that hold, figures beside gait science."""

import surefoot

rig = surefoot.load_rig("lamplighter")
recipe = surefoot.load_recipe("walk")

for told, version in (
    ("as the recipe has it", recipe),
    ("half the bob", recipe.scaled({"bob": 0.5})),
    ("no heel-to-toe", recipe.without("heel_to_toe")),
    ("twice the weight shift", recipe.scaled({"shift": 2.0})),
):
    made = surefoot.block(version, rig)
    planted = surefoot.plant(made.clip, rig, ground=made.ground, keys="few")
    report = surefoot.check(planted.clip, rig, ground=made.ground)
    kinds = sorted({finding.kind for finding in report.findings}) or ["none"]
    print(f"{told}: hips {100 * made.lowered:.1f} cm below straight legs, findings: {', '.join(kinds)}")

trudge = surefoot.load_recipe("trudge")
made = surefoot.block(trudge, rig)
planted = surefoot.plant(made.clip, rig, keys="few")
for row in surefoot.beside_science(planted.clip, rig, trudge.gait):
    if row.leaves and row.band is not None:
        print(
            f"{trudge.name}: {row.figure} {row.value:.3g} {row.unit}, {row.place} {row.band.low:g} to {row.band.high:g}"
        )
