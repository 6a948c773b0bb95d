import type { Light } from "../../../core/sky/light.ts";

/** The theme's colours for drawing on a canvas. */
export type Palette = {
  readonly paper: string;
  readonly line: string;
  readonly edge: string;
  readonly ink: string;
  readonly inkSoft: string;
  readonly curve: string;
  readonly curveSoft: string;
  readonly hatch: string;
  readonly shade: string;
  /** The sky's background, by how light the Sun makes it. */
  readonly sky: Readonly<Record<Light, string>>;
  readonly font: string;
};

/** Reads the colours that the theme gives the document now. */
export function readPalette(element: Element): Palette {
  const style = getComputedStyle(element);
  const value = (name: string): string => style.getPropertyValue(name).trim();
  return {
    paper: value("--paper"),
    line: value("--line"),
    edge: value("--edge"),
    ink: value("--ink"),
    inkSoft: value("--ink-soft"),
    curve: value("--curve"),
    curveSoft: value("--curve-soft"),
    hatch: value("--hatch"),
    shade: value("--shade"),
    sky: {
      day: value("--sky-day"),
      civil: value("--sky-civil"),
      nautical: value("--sky-nautical"),
      astronomical: value("--sky-astronomical"),
      dark: value("--sky-dark"),
    },
    font: style.fontFamily,
  };
}
