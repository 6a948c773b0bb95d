// Loaded before a program: the thread that makes pictures throws at each order but the first few.
import { Worker } from "node:worker_threads";

const post = Worker.prototype.postMessage;
let madeCount = 0;
Worker.prototype.postMessage = function (message, ...rest) {
  const isOrder = typeof message === "object" && message !== null && "order" in message;
  const fails = isOrder && ++madeCount > Number(process.env.PICTURES_BEFORE_FAILURE);
  return post.call(this, fails ? { ...message, order: null } : message, ...rest);
};
