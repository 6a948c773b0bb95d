// A virtual camera in a process of its own, in front of a flat field that costs nothing to render.
import { askForPriority } from "../../controller/workers/threadPriority.ts";
import { startTestCamera } from "./testCamera.ts";

// A real camera has a processor to itself. Without the right to that the figures include its waiting
// for one.
askForPriority();
const [rate, busySeconds] = process.argv.slice(2).map(Number);

const device = await startTestCamera({
  rate: rate ?? 1,
  busySeconds: busySeconds ?? 1,
  utcOffsetMinutes: 0,
});
process.stdout.write(`${JSON.stringify({ port: device.port, origin: device.clock.origin })}\n`);
// The program that started it is gone, or has done with it.
process.stdin.on("end", () => void device.close().then(() => process.exit()));
process.stdin.resume();
