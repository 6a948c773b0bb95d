/**
 * The rooms of the sources, floor by floor from the top. A room may import what stands on a lower
 * floor of its side of the program, and nothing else but itself: not what stands above, and not its
 * neighbours on the same floor. Source: the list of rooms in DEVELOPERS.md, which shows the same
 * order.
 *
 * A name that ends in `.ts` is a file that stands in no room; "core" and "controller" are the other
 * such files.
 */
export const FLOORS: readonly (readonly string[])[] = [
  ["controller/nattvakt.ts"],
  ["controller/main.ts"],
  ["controller/daemon"],
  ["controller/commands", "controller/web"],
  ["controller/bench-check"],
  ["controller/stations"],
  ["controller/night", "controller/focus", "controller/shutter"],
  ["controller/planning", "controller/cameras"],
  ["controller/deliver", "controller/pointing"],
  ["controller/release", "controller/sensors", "controller/virtual-camera", "controller/config.ts"],
  ["controller/dataFolder.ts", "controller/pageBuildProcess.ts", "controller/service"],
  ["controller/archive", "controller/metering"],
  ["controller/profiles", "controller/workers", "controller/timing"],
  ["controller"],
  ["core/api"],
  ["core/frames"],
  ["core/rehearsal"],
  ["core/watch"],
  ["core/simulation"],
  ["core/pointing"],
  ["core/photometry"],
  ["core/activity"],
  ["core/plan"],
  ["core/metadata"],
  ["core/exposure"],
  ["core/ptp"],
  ["core/sky"],
  ["core/words"],
  ["core/sensors", "core/profiles"],
  ["core"],
];

/** The room that a file stands in; null: a file of the product in no room that is known. */
export function roomOf(file: string): string | null {
  const names = FLOORS.flat();
  if (names.includes(file)) return file;
  const parts = file.split("/");
  const room = parts.length > 2 ? parts.slice(0, 2).join("/") : parts[0]!;
  return names.includes(room) ? room : null;
}

/** The floor of a room, counted from the top. */
export function floorOf(room: string): number {
  return FLOORS.findIndex((floor) => floor.includes(room));
}

/** Why a file may not import another, and the way out; null: it may. */
export function arrowFault(file: string, target: string): string | null {
  const [from, to] = [roomOf(file), roomOf(target)];
  const known =
    "name its room in tests/architecture/rooms.ts, on the floor above all that it imports";
  if (from === null) return `${file} stands in no room: ${known}`;
  if (to === null) return `${target} stands in no room: ${known}`;
  if (from === to || floorOf(to) > floorOf(from)) return null;
  const way =
    "move what both need to a file in a room below both, or what only the upper one needs up to it";
  const where = floorOf(to) === floorOf(from) ? "on the same floor" : "above it";
  return `${file} imports ${target}: ${to} stands ${where}; ${way}`;
}
