import { pathToFileURL } from "node:url";
import { makeCameraFolder } from "../usb-vm/cameraFolder.ts";
import { insideMachine } from "../usb-vm/insideMachine.ts";
import { NoMachine, prepareMachine, PROJECT, runMachine } from "../usb-vm/machine.ts";
import { readySources } from "../usb-vm/readySources.ts";
import type { BenchRow } from "./benchRow.ts";
import { tableOf } from "./table.ts";

const LIMIT_MS = 120_000;

/**
 * A file over USB through a real kernel's USB stack, in the emulated machine, beside bare bulk reads
 * of the same bytes through the same pipe. Skipped aloud where the machine cannot be had.
 */
export async function benchUsb(): Promise<BenchRow[]> {
  try {
    const machine = prepareMachine();
    const cameraDir = makeCameraFolder(machine.dir);
    const readyDir = await readySources(PROJECT, machine.dir);
    let printed = "";
    await runMachine(machine, {
      command: insideMachine(
        { cameraDir, readyDir },
        "node --import tsx tests/usb-vm/transferInside.ts",
      ),
      timeoutMs: LIMIT_MS,
      cameraDir,
      onOutput: (text) => (printed += text),
    });
    return [rowOf(printed)];
  } catch (thrown) {
    if (!(thrown instanceof NoMachine)) throw thrown;
    process.stderr.write(`SKIPPED: USB in the emulated machine: ${thrown.message}\n`);
    return [];
  }
}

function rowOf(printed: string): BenchRow {
  const line = /^TRANSFER (.*)$/m.exec(printed)?.[1];
  if (line === undefined) throw new Error(`the machine measured nothing:\n${printed}`);
  const figures = JSON.parse(line) as {
    readonly bytes: number;
    readonly mbPerSecond: number;
    readonly bareMbPerSecond: number;
  };
  return {
    group: "usb",
    name: `GetObject of ${(figures.bytes / 2 ** 20).toFixed(0)} MiB over USB, emulated machine`,
    value: figures.mbPerSecond,
    unit: "MB/s",
    comparedWith: "bare bulk reads of the same bytes",
    comparedValue: figures.bareMbPerSecond,
    ratio: figures.mbPerSecond / figures.bareMbPerSecond,
    note: "an emulated processor; only the ratio means anything",
  };
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  process.stdout.write(tableOf(await benchUsb()));
}
