import { describe, expect, it } from "vitest";
import { addSprite, clearSprites, spriteLayer } from "../../../core/simulation/spriteLayer.ts";

describe("a layer of sprites", () => {
  it("adds up light that falls twice on a pixel, and notes the pixel once", () => {
    const layer = spriteLayer(4);
    addSprite(layer, 2, 1, 2, 3);
    addSprite(layer, 2, 0.5, 0.25, 0);
    expect([...layer.light.slice(6, 9)]).toEqual([1.5, 2.25, 3]);
    expect(layer.litPixels).toEqual([2]);
    expect([...layer.isLit]).toEqual([0, 0, 1, 0]);
  });

  it("is as dark as a new one after it was cleared", () => {
    const layer = spriteLayer(3);
    addSprite(layer, 0, 1, 1, 1);
    addSprite(layer, 2, 4, 0, 0);
    clearSprites(layer);
    expect(layer).toEqual(spriteLayer(3));
  });
});
