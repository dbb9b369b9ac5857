"""Pure machining science: geometry, forces, the time-domain cut, stability.

No file, device, clock or setting. Start at ``scenarios.scenario(name)`` for a plan,
``pass_sound.render(plan, seed)`` for its sound and truth, ``semidiscretization.stability(case, rpm, ap_mm)``
for a verdict, ``stability_map.stability_map(case, rpm, ap_mm)`` for very many.
"""
