"""What follows from a call: calculators, findings, rules, belief, plan and the advice drawn from them."""
