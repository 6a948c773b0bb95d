import type { Stretch } from "../strip/stretch.ts";
import { PARTS, type Part } from "./part.ts";

/** Where in the page somebody is; what is null is left to the page. */
export type PagePlace = {
  readonly part: Part | null;
  readonly nightId: string | null;
  readonly cameraId: string | null;
  /** null: the newest, or the one that the night opens with. */
  readonly frameIndex: number | null;
  /** Stretch of the night on the strip; null: all of it. */
  readonly stretch: Stretch | null;
};

/** A place as the address's hash says it; what it does not understand it leaves out. */
export function placeOfHash(hash: string): PagePlace {
  const [name = "", query = ""] = hash.replace(/^#/, "").split("?", 2);
  const says = new URLSearchParams(query);
  const frame = says.get("frame");
  const [startUtcMs, endUtcMs] = [says.get("from"), says.get("to")].map((text) =>
    Date.parse(text ?? ""),
  );
  const isStretch = startUtcMs !== undefined && endUtcMs !== undefined && startUtcMs < endUtcMs;
  return {
    part: PARTS.find((part) => part === name) ?? null,
    nightId: says.get("night"),
    cameraId: says.get("camera"),
    frameIndex: frame !== null && /^\d{1,9}$/.test(frame) ? Number(frame) : null,
    stretch: isStretch ? { startUtcMs, endUtcMs } : null,
  };
}

/** The hash that leads to a place. */
export function hashOf(place: PagePlace): string {
  const { part, nightId, cameraId, frameIndex, stretch } = place;
  const says = new URLSearchParams();
  if (nightId !== null) says.set("night", nightId);
  if (cameraId !== null) says.set("camera", cameraId);
  if (frameIndex !== null) says.set("frame", String(frameIndex));
  if (stretch !== null) {
    says.set("from", new Date(Math.round(stretch.startUtcMs)).toISOString());
    says.set("to", new Date(Math.round(stretch.endUtcMs)).toISOString());
  }
  const query = says.toString().replaceAll("%3A", ":");
  return `#${part ?? ""}${query === "" ? "" : `?${query}`}`;
}

/**
 * Whether a step to a place is worth a way back of its own: another part, night or camera is, and the
 * first frame that is picked; stepping on from frame to frame and zooming are not.
 */
export function isNewPlace(from: PagePlace, to: PagePlace): boolean {
  return (
    from.part !== to.part ||
    from.nightId !== to.nightId ||
    from.cameraId !== to.cameraId ||
    (from.frameIndex === null) !== (to.frameIndex === null)
  );
}
