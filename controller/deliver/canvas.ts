import sharp, { type Sharp } from "sharp";
import { encodeExif, withExif } from "../../core/metadata/exif.ts";
import { exifOfWork, xmpOfWork, type WorkContext } from "./frameMetadata.ts";

export type Rgb = readonly [number, number, number];

/** A picture to draw on, row by row, three bytes a pixel. */
export type Canvas = {
  readonly rgb: Uint8Array;
  readonly widthPx: number;
  readonly heightPx: number;
};

export function createCanvas(widthPx: number, heightPx: number, colour: Rgb): Canvas {
  const rgb = new Uint8Array(widthPx * heightPx * 3);
  const canvas = { rgb, widthPx, heightPx };
  fillRectangle(canvas, { x: 0, y: 0, widthPx, heightPx }, colour);
  return canvas;
}

export function fillRectangle(
  canvas: Canvas,
  area: { x: number; y: number; widthPx: number; heightPx: number },
  colour: Rgb,
): void {
  const [fromX, fromY] = [Math.max(0, Math.round(area.x)), Math.max(0, Math.round(area.y))];
  const toX = Math.min(canvas.widthPx, Math.round(area.x) + area.widthPx);
  const toY = Math.min(canvas.heightPx, Math.round(area.y) + area.heightPx);
  for (let y = fromY; y < toY; y += 1) {
    for (let x = fromX; x < toX; x += 1) canvas.rgb.set(colour, (y * canvas.widthPx + x) * 3);
  }
}

/**
 * Letters of five by seven dots, each row one digit of base 32: drawn by hand for this, because a
 * bare machine has no fonts and a keogram without its hours is worth little.
 */
const LETTERS: Readonly<Record<string, string>> = {
  "0": "ehjlphe",
  "1": "4c4444e",
  "2": "eh1248v",
  "3": "v2421he",
  "4": "26aiv22",
  "5": "vgu11he",
  "6": "68guhhe",
  "7": "v124888",
  "8": "ehhehhe",
  "9": "ehhf12c",
  A: "ehhvhhh",
  B: "uhhuhhu",
  C: "ehggghe",
  D: "sihhhis",
  E: "vgguggv",
  F: "vgguggg",
  G: "ehgnhhf",
  H: "hhhvhhh",
  I: "e44444e",
  J: "72222ic",
  K: "hikokih",
  L: "ggggggv",
  M: "hrllhhh",
  N: "hhpljhh",
  O: "ehhhhhe",
  P: "uhhuggg",
  Q: "ehhhlid",
  R: "uhhukih",
  S: "fgge11u",
  T: "v444444",
  U: "hhhhhhe",
  V: "hhhhha4",
  W: "hhhllla",
  X: "hha4ahh",
  Y: "hhha444",
  Z: "v1248gv",
  " ": "0000000",
  ":": "0cc0cc0",
  ".": "00000cc",
  "-": "000v000",
  "°": "ciic000",
  "/": "01248g0",
  ",": "0000c48",
};

const LETTER_WIDTH = 6;
export const LETTER_HEIGHT = 7;

export function textWidthPx(text: string, dotPx: number): number {
  return text.length * LETTER_WIDTH * dotPx - dotPx;
}

/** Draws capital letters, digits and a few signs; anything else is left blank. */
export function drawText(
  canvas: Canvas,
  text: string,
  at: { x: number; y: number; dotPx: number },
  colour: Rgb,
): void {
  for (const [n, letter] of [...text.toUpperCase()].entries()) {
    const rows = LETTERS[letter] ?? LETTERS[" "]!;
    for (let row = 0; row < LETTER_HEIGHT; row += 1) {
      const dots = parseInt(rows[row]!, 32);
      for (let column = 0; column < 5; column += 1) {
        if ((dots & (16 >> column)) === 0) continue;
        const x = at.x + (n * LETTER_WIDTH + column) * at.dotPx;
        const y = at.y + row * at.dotPx;
        fillRectangle(canvas, { x, y, widthPx: at.dotPx, heightPx: at.dotPx }, colour);
      }
    }
  }
}

/** Lays a smaller picture on the canvas; what does not fit is cut off. */
export function drawPicture(canvas: Canvas, picture: Canvas, at: { x: number; y: number }): void {
  const width = Math.min(picture.widthPx, canvas.widthPx - at.x);
  for (let y = 0; y < picture.heightPx && at.y + y < canvas.heightPx; y += 1) {
    const from = y * picture.widthPx * 3;
    const row = picture.rgb.subarray(from, from + width * 3);
    canvas.rgb.set(row, ((at.y + y) * canvas.widthPx + at.x) * 3);
  }
}

/** @param work  What the picture says of itself. */
export function encodePng(canvas: Canvas, work: WorkContext): Promise<Uint8Array> {
  return sharpOf(canvas).png({ compressionLevel: 9 }).withXmp(xmpOfWork(work)).toBuffer();
}

/** @param work  What the picture says of itself. */
export async function encodeJpeg(
  canvas: Canvas,
  work: WorkContext,
  quality = 92,
): Promise<Uint8Array> {
  const jpeg = await sharpOf(canvas).jpeg({ quality }).withXmp(xmpOfWork(work)).toBuffer();
  return withExif(jpeg, encodeExif({ ...exifOfWork(work), ...canvas }));
}

function sharpOf({ rgb, widthPx, heightPx }: Canvas): Sharp {
  return sharp(rgb, { raw: { width: widthPx, height: heightPx, channels: 3 } });
}
