import { expect, it, onTestFinished } from "vitest";
import { startCommand } from "../support/program.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

const FAULT = new URL("../support/failingPictures.mjs", import.meta.url).href;

/** Starts a program whose thread that makes pictures throws at each order but the first few. */
function startFailing(args: readonly string[], picturesBeforeFailure: number) {
  const program = startCommand(process.execPath, ["--import", "tsx", ...args], {
    cwd: process.cwd(),
    env: {
      ...process.env,
      NODE_OPTIONS: `--import ${FAULT}`,
      PICTURES_BEFORE_FAILURE: String(picturesBeforeFailure),
    },
  });
  onTestFinished(() => void program.child.kill("SIGKILL"));
  return program;
}

const watchArguments = (frames: number): readonly string[] => [
  ...["controller/main.ts", "--port", "0", "--data", temporaryFolder()],
  ...["--frames", String(frames)],
];

it("a demo whose pictures all fail says why and of which frames, and ends with 1", async () => {
  // Dusk, whose frames are short, at a pace at which a busy machine still says in time what failed.
  const program = startFailing([...watchArguments(3), "--from-dusk", "--rate", "2"], 0);
  expect(await program.ended, program.printed()).toBe(1);
  expect(program.printed()).toMatch(/error: no more pictures: Cannot read properties of null/);
  expect(program.printed()).toMatch(/#0000 has no picture: /);
  expect(program.printed()).toMatch(/error: No picture came of any of the \d frames/);
}, 180_000);

it("a virtual camera whose pictures fail ends with 1 and says so", async () => {
  const camera = startFailing(["controller/virtual-camera/main.ts", "--port", "0"], 0);
  const [, port] = await camera.prints(/"port":(\d+)/);
  const watch = startCommand(
    process.execPath,
    [
      ...["--import", "tsx", ...watchArguments(1)],
      ...["--camera", `ip:127.0.0.1:${port}`, "--max-exposure-seconds", "1"],
    ],
    { cwd: process.cwd() },
  );
  onTestFinished(() => void watch.child.kill("SIGKILL"));
  expect(await camera.ended, camera.printed()).toBe(1);
  expect(camera.printed()).toMatch(/error: no more pictures: Cannot read properties of null/);
}, 180_000);
