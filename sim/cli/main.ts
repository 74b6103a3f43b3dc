#!/usr/bin/env node
/** Where the program starts: the streams and the exit status of this process around the commands of `program.ts`. */
import { allowWideInlining } from '../kernel/inlining.ts';
import { jackstand, statusOf } from './program.ts';
import { processStreams } from './streams.ts';

allowWideInlining();

const streams = processStreams(process);

process.on('uncaughtException', (error) => process.exit(statusOf(error, streams)));
process.exitCode = await jackstand(process.argv.slice(2), streams);
