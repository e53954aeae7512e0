export function enter() {}
